"""What the sets that hold a code say about what happens next."""

from __future__ import annotations

from bankwise.signals.evidence import CodeReading, FreezeFrame, Snapshot, UnitCodes
from bankwise.signals.two_trips import code_stories


def _seen(
    stored: tuple[str, ...] | None = (),
    pending: tuple[str, ...] | None = (),
    permanent: tuple[str, ...] | None = (),
    frames: tuple[FreezeFrame, ...] = (),
) -> Snapshot:
    def reading(when: str, codes: tuple[str, ...] | None) -> CodeReading:
        if codes is None:
            return CodeReading(when, 0.0, (), ("no answer",))
        return CodeReading(when, 0.0, (UnitCodes("7E8", codes),))

    return Snapshot(
        {
            "stored": reading("stored", stored),
            "pending": reading("pending", pending),
            "permanent": reading("permanent", permanent),
        },
        frames=frames,
    )


def test_a_pending_code_waits_for_the_next_trip() -> None:
    """Pending alone means one trip, and names what turns the lamp on."""
    (story,) = code_stories(_seen(pending=("P0018",)))
    assert (story.about, story.sets) == ("B2", ("pending",))
    assert story.text == "seen on one trip so far"
    assert "next trip" in story.next


def test_a_permanent_code_alone_was_cleared() -> None:
    """Only the car's own test removes it."""
    (story,) = code_stories(_seen(permanent=("P0171",)))
    assert "cleared" in story.text
    assert "No tool can clear it" in story.next


def test_every_combination_of_sets_has_words() -> None:
    """Seven ways to be held, seven different sentences."""
    texts = set()
    for i in range(1, 8):
        held = [("P0171",) if i >> bit & 1 else () for bit in range(3)]
        (story,) = code_stories(_seen(held[0], held[1], held[2]))
        texts.add(story.text)
    assert len(texts) == 7


def test_an_unread_set_concludes_nothing() -> None:
    """A stored code beside unreadable pending codes is not called old."""
    (story,) = code_stories(_seen(stored=("P0171",), pending=None))
    assert "not seen" not in story.text
    assert "could be read" in story.next


def test_the_freeze_frames_code_gets_its_window_and_no_other() -> None:
    """Similar conditions belong to the code that set the frame."""
    frame = FreezeFrame("7E8", 0, "P0174", {"rpm": 2000.0, "load_pct": 50.0})
    stories = code_stories(_seen(stored=("P0171", "P0174"), frames=(frame,)))
    windows = {story.code: story.window for story in stories}
    assert windows["P0171"] is None
    assert windows["P0174"] is not None
    assert windows["P0174"].rpm == (1625.0, 2375.0)


def test_codes_are_sorted_by_place_with_the_engine_last() -> None:
    """Banks stand together."""
    stories = code_stories(_seen(stored=("P0455", "P0174", "P0131", "P0171")))
    assert [s.code for s in stories] == ["P0171", "P0131", "P0174", "P0455"]
