"""Changes that change nothing anybody could see, each with its reason: (file, changed line) to reason."""

EQUIVALENT: dict[tuple[str, str], str] = {}
