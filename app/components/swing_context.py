"""Fields for who swings what, alike wherever swings are recorded or brought in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import Dash, Input, Output, no_update

from app.clubs import CLUB_LENGTHS_CM, usual_length_cm
from app.components.choices import segmented
from app.shelf import Entry
from imu.cautions import YOUNG_PLAYERS

BLOCKS = ("warm-up", "practice", "pressure", "after-drill")
HANDS = (("right", "right-handed"), ("left", "left-handed"))
HALF = {"base": 12, "sm": 6}
USUAL_CLUB = "7-iron"


def player_field(page: str, entries: Sequence[Entry]) -> Any:
    """The player's name, known ones offered, with what is asked of the young."""
    return dmc.GridCol(
        dmc.Autocomplete(
            id=f"{page}-player",
            label="Player",
            data=sorted({entry.player for entry in entries if entry.player}),
            description=YOUNG_PLAYERS,
            inputWrapperOrder=["label", "input", "description", "error"],
        ),
        span=HALF,
    )


def hand_field(page: str) -> Any:
    """Right- or left-handed."""
    return dmc.GridCol(segmented(f"{page}-hand", "Plays", HANDS, "right"), span=HALF)


def club_fields(page: str) -> list[Any]:
    """The club and its length, which follows the club until it is typed."""
    return [
        dmc.GridCol(
            dmc.Autocomplete(
                id=f"{page}-club", label="Club", data=list(CLUB_LENGTHS_CM), value=USUAL_CLUB
            ),
            span=HALF,
        ),
        dmc.GridCol(
            dmc.NumberInput(
                id=f"{page}-length",
                label="Club length, cm",
                value=CLUB_LENGTHS_CM[USUAL_CLUB],
                min=50,
                max=140,
                step=0.5,
            ),
            span=HALF,
        ),
    ]


def block_field(page: str) -> Any:
    """The label of the block: a usual one, or any other."""
    return dmc.GridCol(
        dmc.Autocomplete(id=f"{page}-block", label="Block", data=list(BLOCKS)),
        span=HALF,
        id=f"{page}-block-box",
    )


def session_field(page: str) -> Any:
    """The label of the session."""
    return dmc.GridCol(dmc.TextInput(id=f"{page}-session", label="Session"), span=HALF)


def register_club(app: Dash, page: str) -> None:
    """The length follows the club."""

    @app.callback(
        Output(f"{page}-length", "value"),
        Input(f"{page}-club", "value"),
        prevent_initial_call=True,
    )
    def usual_length(club: str | None) -> Any:
        length = usual_length_cm(club or "")
        return no_update if length is None else length
