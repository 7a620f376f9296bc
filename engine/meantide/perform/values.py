"""Values handed over by the control side, each waiting under its number for its event."""

from meantide.perform.notes import Notes
from meantide.pitch import Tuning
from meantide.voice.degree_grid import DegreeGrid
from meantide.voice.voices import Prepared, Voice, prepare

Ready = tuple[Tuning, DegreeGrid] | Prepared
"""A tuning or a voice made ready to be taken."""


def make_ready(value: Tuning | Voice, rate: int) -> Ready:
    """Make `value` ready for `rate` samples a second: control side; a voice may take a second."""
    if isinstance(value, Tuning):
        return value, DegreeGrid.of(value)
    return prepare(value, rate)


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
        self.keep(number, make_ready(value, self._rate))

    def keep(self, number: int, ready: Ready) -> None:
        """Keep what was made ready under `number`, and make room for it: not in the callback."""
        if isinstance(ready, tuple):
            self._tunings[number] = ready
        else:
            self._notes.provide(ready)
            self._voices[number] = ready

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
