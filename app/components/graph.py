"""A figure on a page: nothing drawn until its data is there, no tool bar, a name to hear, and
buttons that save it as a picture."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

BLANK = {
    "data": [],
    "layout": {
        "xaxis": {"visible": False},
        "yaxis": {"visible": False},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
    },
}
CONFIG = {"displayModeBar": False, "responsive": True, "displaylogo": False, "doubleClick": "reset"}


def graph(identity: str, height: int, words: str) -> Any:
    """An empty figure of this height; ``words`` say what it will show."""
    return html.Div(
        dcc.Graph(id=identity, figure=BLANK, config=CONFIG, style={"height": f"{height}px"}),
        role="img",
        **{"aria-label": words},
    )


def picture_buttons(identity: str, name: str) -> Any:
    """Buttons that save the figure ``identity`` as it stands, drawn in the browser.

    name : of the file saved, without its ending.
    """
    return html.Div(
        [
            html.Span("Save the picture", className="quiet"),
            *(
                html.Button(
                    words,
                    type="button",
                    className="button-link",
                    **{
                        "data-picture": identity,
                        "data-format": kind,
                        "data-name": name,
                        "aria-label": f"Save the picture as {words}",
                    },
                )
                for kind, words in (("svg", "SVG"), ("png", "PNG"))
            ),
        ],
        className="files flush",
    )
