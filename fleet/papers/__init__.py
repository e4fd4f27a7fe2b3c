"""Papers: lists made into PDF and sheets that can be put in front of an auditor."""
