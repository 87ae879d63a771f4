"""What tests find on their way, for whoever runs ``pytest -s``."""


class Figures:
    """The largest of each kind of number that the tests of one file come by, and how many of them there were."""

    def __init__(self) -> None:
        self.found: dict[str, tuple[float, int]] = {}

    def note(self, what: str, value: float) -> None:
        """One more of a kind."""
        largest, count = self.found.get(what, (value, 0))
        self.found[what] = max(largest, value), count + 1

    def __str__(self) -> str:
        return "".join(f"{what}: {value:.3g} at most, of {n}\n" for what, (value, n) in self.found.items())
