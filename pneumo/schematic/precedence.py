"""A growing order of numbered things: who comes before whom, never both ways."""

from __future__ import annotations


class Precedence:
    """`after[i]`: the things that come after i, directly or not, as the bits of an integer."""

    def __init__(self, count: int) -> None:
        self.after = [0] * count

    def add(self, first: int, second: int) -> bool:
        """`first` before `second`, if that contradicts nothing said before; False if it does."""
        if first == second or self.after[second] >> first & 1:
            return False
        gained = self.after[second] | 1 << second
        for k, after in enumerate(self.after):
            if k == first or after >> first & 1:
                self.after[k] = after | gained
        return True

    def sorted(self) -> list[int]:
        """All of them, each after what comes before it; else in the order of their numbers."""
        return sorted(range(len(self.after)), key=lambda i: (-self.after[i].bit_count(), i))
