"""The command line: one verb a file, loaded when it is called."""

import os
from importlib import import_module

import click

from meantide import __version__
from meantide.errors import MeantideError

VERBS = {
    "render": "render a score, a MIDI file or a journal to a WAV file and its log",
    "assay": "measure a take against what its tuning says",
    "live": "start the engine and its OSC server",
    "send": "send one OSC message to a running engine, and print what it answers",
    "sheet": "print or draw a tuning: for players, for a keyboard, for programs",
    "compare": "render one piece in several tunings, and set the takes side by side",
    "picture": "draw takes: pitch over time, spectrogram, spectrum; each in words too",
    "contrast": "set two tunings side by side, note by note and chord by chord",
    "beats": "say how fast the notes of a dyad or chord beat",
    "rough": "find where a voice is smoothest, and make a spectrum for a scale",
    "air": "say what an anchor becomes as the air warms or cools",
    "listen": "find the pitch of a recording or an input, and the anchor it makes",
    "near": "find simple ratios, equal divisions and commas near what you have in mind",
    "presets": "list scales, anchors, layouts and voices",
    "voice": "tell what a voice is, draw it, and let it be heard in a tuning",
    "capacity": "measure how many notes this machine holds, and choose a block size",
    "carry": "write and read tunings as MIDI tuning messages (.syx)",
}


class Verbs(click.Group):
    """The group of verbs; only the one that is called is imported."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the verbs in the order of the work."""
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a verb's command, or None."""
        if cmd_name not in VERBS:
            return None
        command = getattr(import_module(f"meantide.command.{cmd_name}"), cmd_name)
        assert isinstance(command, click.Command)  # noqa: S101  a mistake of ours, not the user's
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the verbs without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(VERBS.items()))

    def invoke(self, ctx: click.Context) -> object:
        """Run a verb; an error of ours is told as one sentence, with its exit code."""
        # More threads in the matrix products only get in each other's way, and in the callback's.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # read when numpy is imported
        try:
            return super().invoke(ctx)
        except MeantideError as error:
            click.echo(f"meantide: {error}", err=True)
            ctx.exit(error.exit_code)


@click.group(cls=Verbs, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="meantide")
def main() -> None:
    """Music outside twelve equal notes: played live, rendered, and proved in tune.

    \b
    meantide render examples/01-first-sound.yaml --out slack-water.wav
    meantide assay slack-water.wav
    """
