"""Mutation testing: a formula or stop rule is changed in one place at a time, and the tests must notice."""
