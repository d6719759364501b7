"""The one error that pure computation raises on purpose."""


class Invalid(ValueError):
    """A value that makes no sense, told at the field that holds it.

    Attributes:
        field: where the value stands, such as ``mixture[2].percent``; empty when no single field is at fault.
        message: one plain sentence for the person who typed it.
    """

    def __init__(self, field: str, message: str) -> None:
        super().__init__(f"{field}: {message}" if field else message)
        self.field = field
        self.message = message
