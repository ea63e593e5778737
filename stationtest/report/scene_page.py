"""A picture of a scene → one self-contained HTML page: no script, no request, the same bytes for the same scene."""

from __future__ import annotations

import base64
import hashlib
from typing import Any

from markupsafe import Markup

from stationtest.report import rows, scene_drawings
from stationtest.report.page import environment, style_sheet


def render(picture: dict[str, Any]) -> str:
    """The page of what `engine.picturing.picture` found. A pure function but for its own templates."""
    picture = rows.clean(picture)
    style = style_sheet("simulated readings", picture["path"], "SIMULATED")
    return (
        environment()
        .get_template("scene.html")
        .render(
            picture=picture,
            draw=lambda figure: scene_drawings.DRAWERS[figure["kind"]](figure),
            behind=lambda figure: scene_drawings.TABLES[figure["kind"]](figure),
            style=Markup(style),
            style_digest=base64.b64encode(hashlib.sha256(style.encode()).digest()).decode(),
        )
    )
