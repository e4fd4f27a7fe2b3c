"""``python -m fleet`` is the same as ``fleet``."""

from fleet.commands import main

main()
