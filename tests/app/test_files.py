"""Files that the pages link to say of whom and what they are."""

from __future__ import annotations

import zipfile
from io import BytesIO
from pathlib import Path

import flask
import openpyxl
import pytest
from kept_library import add_analysed

from app.files import add_file_routes, report_html
from app.shelf import LibraryShelf
from app.store import Store
from imu.recordings.library import Library
from imu.types import Club, Manifest, Player


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """A block of practice and one of pressure in one session, of two players."""
    library = Library(tmp_path_factory.mktemp("files"))
    for seed, (player, block) in enumerate([("Ida Falk", "practice"), ("Bo Links", "pressure")]):
        facts = Manifest(Player(player), Club("driver", 1.12), block, "spring", block)
        add_analysed(library, facts, seed, 12)
    return Store(LibraryShelf(library))


def sent(store: Store, name: str, ids: list[str]) -> bytes:
    server = flask.Flask("files")
    add_file_routes(server, store)
    answer = server.test_client().get(f"/files/{name}?recordings={','.join(ids)}")
    assert answer.status_code == 200, answer.text
    return answer.data


def test_a_report_on_several_recordings_claims_for_all_only_what_they_share(store: Store) -> None:
    ids = {entry.player: entry.id for entry in store.entries()}
    page = report_html(store, [*ids.values()], ())
    assert all(name in page for name in ids) and "spring" in page
    assert "<dd>practice</dd>" not in page and "<dd>pressure</dd>" not in page
    alone = report_html(store, [ids["Ida Falk"]], ())
    assert "Ida Falk" in alone and "Bo Links" not in alone


def test_a_spreadsheet_of_several_recordings_names_each_player_and_block_once(
    store: Store,
) -> None:
    content = sent(store, "swings.xlsx", [entry.id for entry in store.entries()])
    book = openpyxl.load_workbook(BytesIO(content))
    said = {str(row[0].value): row[1].value for row in book["about"].iter_rows()}
    assert set(str(said["player"]).split(" + ")) == {"Ida Falk", "Bo Links"}
    assert said["club"] == "driver" and said["session"] == "spring"


@pytest.mark.parametrize(
    ("name", "within"),
    [("raw.zip", "club.csv.gz"), ("motion-bids.zip", "participants.tsv"), ("pictures.zip", ".svg")],
)
def test_an_archive_holds_one_folder_named_after_it(store: Store, name: str, within: str) -> None:
    content = sent(store, name, [entry.id for entry in store.entries()])
    with zipfile.ZipFile(BytesIO(content)) as archive:
        names = archive.namelist()
    assert {Path(one).parts[0] for one in names} == {name.removesuffix(".zip")}
    assert any(one.endswith(within) for one in names)
