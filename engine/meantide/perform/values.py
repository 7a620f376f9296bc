"""Values handed over by the control side, each waiting under its number for its event."""

from meantide.perform.notes import Notes
from meantide.pitch import Tuning
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.voices import Prepared, Voice, prepare


class Values:
    """Tunings and voices made ready; each is forgotten when it is taken."""

    def __init__(self, notes: Notes, rate: int) -> None:
        self._notes, self._rate = notes, rate
        self._tunings: dict[int, tuple[Tuning, DegreeGrid]] = {}
        self._voices: dict[int, Prepared] = {}

    def __len__(self) -> int:
        return len(self._tunings) + len(self._voices)

    def hand_over(self, number: int, value: Tuning | Voice) -> None:
        """Make `value` ready under `number`: control side."""
        if isinstance(value, Tuning):
            self._tunings[number] = (value, DegreeGrid.of(value))
        else:
            prepared = prepare(value, self._rate)
            self._notes.provide(prepared)
            self._voices[number] = prepared

    def take_tuning(self, number: int) -> tuple[Tuning, DegreeGrid] | None:
        """Return the tuning of that number and where its degrees lie, or None."""
        return self._tunings.pop(number, None)

    def take_voice(self, number: int) -> Prepared | None:
        """Return the voice of that number, or None."""
        return self._voices.pop(number, None)

    def forget(self, number: int) -> None:
        """Forget the value of that number, if there is one: its event will never act."""
        self._tunings.pop(number, None)
        self._voices.pop(number, None)
