"""Lists made into letters, and the post."""
