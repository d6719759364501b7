"""What is believed about the uncertain inputs: before any reading, and after."""

from dataclasses import dataclass
from typing import Self

import numpy as np

from app.science.acid_base.charge_balance import Array
from app.science.acid_base.inputs import COVERAGE
from app.science.acid_base.model import Model


@dataclass(frozen=True, slots=True)
class InputBelief:
    """A normal belief over the inputs of a model and the error of the meter.

    Attributes:
        centre: most probable standard scores of the inputs, shape (P,).
        offset: most probable meter reading minus pH.
        spread: independent directions of one standard uncertainty, shape (P + 1, R); the last row is the offset.
        model_share: how much of the model's own half width is still to be added, 1 before any reading.
    """

    centre: Array
    offset: float
    spread: Array
    model_share: float = 1.0

    @classmethod
    def prior(cls, model: Model) -> Self:
        """Return the belief before any reading: the stated uncertainties, independent of each other."""
        count = len(model.inputs)
        return cls(np.zeros(count), 0.0, np.vstack((np.eye(count), np.zeros((1, count)))))

    def rows(self) -> tuple[Array, Array]:
        """Return variants to solve: the centre, each direction up, each down; theta (N, P) and offsets (N,)."""
        step = COVERAGE * self.spread.T
        centre = np.concatenate((self.centre, [self.offset]))
        rows = np.vstack((centre[None, :], centre + step, centre - step))
        return rows[:, :-1], rows[:, -1]
