"""Charts as pure functions from rows to values; nothing here reads a database."""

from __future__ import annotations

import pandas as pd

from units.charts import claims, conditions, cost, load, tested
from units.charts.picture import FramePicture
from units.picture import Drawn
from units.quantities import METRIC, Display

PICTURES: dict[str, FramePicture] = {
    picture.name: picture
    for picture in (
        claims.CAPACITY,
        claims.RATIO,
        claims.EER,
        *conditions.PICTURES,
        load.EER_LOAD,
        tested.MATRIX,
        tested.SHORTFALL,
        tested.SOUND,
        cost.COST,
    )
}


def draw(name: str, frames: dict[str, pd.DataFrame], display: Display = METRIC) -> Drawn | None:
    """Return a picture of the frames by its name, or None where there is nothing to draw."""
    picture = PICTURES[name]
    data = picture.data(frames[picture.frame], display)
    return None if data.empty else Drawn(picture, data, display)
