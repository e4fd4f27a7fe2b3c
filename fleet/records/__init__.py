"""What is kept: the tables."""
