"""Sheets of labels by their grid: where each label lies, and whether a grid can be on its page. All lengths in mm."""

from collections.abc import Iterator
from dataclasses import dataclass

from app.science.errors import Invalid

MOST_PLACES = 400
SLACK_MM = 0.05  # what rounding from inches may cost


@dataclass(frozen=True, slots=True)
class SheetGrid:
    """A sheet: its page, the first label's corner, the label, and the pitch from one label to the next.

    ``shift_x_mm`` and ``shift_y_mm`` are what the printer is off by, as measured on a calibration page; to the right
    and down are positive, and every label is printed so much further left and up.
    """

    page_width_mm: float
    page_height_mm: float
    columns: int
    rows: int
    label_width_mm: float
    label_height_mm: float
    left_mm: float
    top_mm: float
    pitch_x_mm: float
    pitch_y_mm: float
    is_round: bool = False
    shift_x_mm: float = 0.0
    shift_y_mm: float = 0.0

    @property
    def per_page(self) -> int:
        """How many labels a page holds."""
        return self.columns * self.rows

    def check(self) -> None:
        """Refuse a grid whose labels overlap or leave the page.

        Raises:
            Invalid: at the field that is most likely wrong.
        """
        if self.per_page > MOST_PLACES:
            raise Invalid("across", f"A page holds at most {MOST_PLACES} labels.")
        if self.columns > 1 and self.pitch_x_mm < self.label_width_mm - SLACK_MM:
            raise Invalid("pitch_x", "The labels overlap: the pitch across is less than a label is wide.")
        if self.rows > 1 and self.pitch_y_mm < self.label_height_mm - SLACK_MM:
            raise Invalid("pitch_y", "The labels overlap: the pitch down is less than a label is high.")
        right = self.left_mm + (self.columns - 1) * self.pitch_x_mm + self.label_width_mm
        bottom = self.top_mm + (self.rows - 1) * self.pitch_y_mm + self.label_height_mm
        if right > self.page_width_mm + SLACK_MM:
            raise Invalid("left", f"The last column ends {right - self.page_width_mm:.1f} mm outside the page.")
        if bottom > self.page_height_mm + SLACK_MM:
            raise Invalid("top", f"The last row ends {bottom - self.page_height_mm:.1f} mm outside the page.")
        if self.is_round and abs(self.label_width_mm - self.label_height_mm) > SLACK_MM:
            raise Invalid("label_height", "A round label is as high as it is wide.")

    def corner(self, place: int) -> tuple[float, float]:
        """Return the upper left corner (x, y in mm) of a place, counted from 0 along the rows, the shift taken off."""
        row, column = divmod(place, self.columns)
        x = self.left_mm + column * self.pitch_x_mm - self.shift_x_mm
        return x, self.top_mm + row * self.pitch_y_mm - self.shift_y_mm

    def places(self, count: int, start: int = 1) -> Iterator[tuple[int, float, float]]:
        """Return page (from 0) and corner in mm of each of ``count`` labels; the first at place ``start``, from 1."""
        for number in range(start - 1, start - 1 + count):
            page, place = divmod(number, self.per_page)
            yield page, *self.corner(place)
