"""The form that closes a case or a recall: how it ended, and who closed it."""

from app.science.errors import Invalid
from app.work.form import Form, rule
from app.work.form_fields import LongText, Name


def outcome(hint: str) -> LongText:
    """Return the field for how something ended."""
    return LongText("Outcome", lines=3, hint=hint)


class OutcomeForm(Form):
    """How a case or a recall ended."""

    conclusion = outcome("")
    by = Name("Closed by", "Enter your name or initials.", longest=80, width="w8")

    @rule
    def with_a_conclusion(self) -> None:
        """Ask how it ended."""
        if not self.conclusion.strip():
            raise Invalid("conclusion", "Enter how it ended.")
