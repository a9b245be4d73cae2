"""Interfaces that several rooms share: what they ask of an object, whatever its class."""

from typing import Protocol


class Saying(Protocol):
    """A result that says itself."""

    def sentence(self) -> str:
        """The result in one or a few sentences."""
