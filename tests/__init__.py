"""The proofs of the project, and the command that runs them: ``python3 -m tests``."""
