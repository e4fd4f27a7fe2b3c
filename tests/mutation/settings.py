"""How the tests are run on mutants. Standard library only."""

TESTS = ("tests/bolting", "tests/rules")
# pytest must not rewrite what is loaded already, so its asserts stay plain.
QUIETLY = ("-p", "no:randomly", "-p", "no:xdist", "-p", "no:cacheprovider", "--assert=plain", "--tb=native")
LONGEST_SECONDS = 120
"""A mutant that takes the tests more time of the processor than this hangs, which is noticed."""
