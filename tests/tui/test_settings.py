"""The lasting choices: a file that makes no sense costs the choice, never the drive."""

from __future__ import annotations

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from bankwise.tui.lane_table import FIRST_CHOICE, LANES
from bankwise.tui.settings import Settings, load, save
from bankwise.tui.themes import PALETTES
from bankwise.tui.timeview import SPANS_S


def test_what_was_saved_comes_back(tmp_path: Path) -> None:
    """Every choice, whole."""
    chosen = Settings("sun", ("trim", "rpm"), ("trim",), 120.0, True, False)
    path = tmp_path / "deep" / "screen.json"
    assert save(path, chosen)
    assert load(path) == chosen


def test_no_file_is_as_shipped(tmp_path: Path) -> None:
    """The first start has no file."""
    assert load(tmp_path / "none.json") == Settings()


def test_a_disk_that_refuses_is_told_not_raised(tmp_path: Path) -> None:
    """A file where the folder should be: the choice is lost, nothing else."""
    (tmp_path / "folder").write_text("a file")
    assert not save(tmp_path / "folder" / "screen.json", Settings())


_JSON = st.recursive(
    st.none() | st.booleans() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(["theme", "lanes", "tall", "span_s", "sweep", "bell", "x"]),
            inner,
            max_size=6,
        )
    ),
    max_leaves=12,
)


@given(_JSON)
def test_any_json_gives_usable_choices(content: object) -> None:
    """Whatever is in the file, the screen can start with what comes out."""
    import json
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "screen.json"
        path.write_text(json.dumps(content))
        found = load(path)
    assert found.theme in PALETTES
    assert found.lanes
    assert set(found.lanes) <= set(LANES)
    assert set(found.tall) <= set(LANES)
    assert found.span_s in SPANS_S


def test_half_a_file_is_as_shipped(tmp_path: Path) -> None:
    """A file cut short by a power cut is no file."""
    path = tmp_path / "screen.json"
    path.write_text('{"theme": "sun", "lan')
    assert load(path) == Settings()


def test_the_first_choice_is_of_lanes_that_exist() -> None:
    """Every lane of the first choice is in the table."""
    assert set(FIRST_CHOICE) <= set(LANES)
