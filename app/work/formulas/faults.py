"""What is wrong with a formula, at which field of its page."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FieldFault:
    """What is wrong at one field of the page; ``unfinished`` when the field is only still empty.

    ``where`` names the line for those who read the sentence away from its field.
    """

    field: str
    message: str
    unfinished: bool = False
    where: str = ""

    @property
    def full_message(self) -> str:
        """The sentence with the line it speaks of, where it does not begin with it."""
        named = not self.where or self.message.startswith(self.where)
        return self.message if named else f"{self.where}: {self.message}"


class IncompleteFormula(ValueError):
    """The draft does not add up yet; ``faults`` says where."""

    def __init__(self, faults: tuple[FieldFault, ...]) -> None:
        super().__init__(faults[0].message if faults else "")
        self.faults = faults
