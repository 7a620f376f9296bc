"""`meantide live`: the engine on a device, listening for OSC messages."""

import ipaddress
import signal
from pathlib import Path

import click

from meantide.catalogue import Catalogue
from meantide.command.kernel_choice import kernel_option
from meantide.errors import InvalidValue
from meantide.live.host import BACK_ENDS
from meantide.live.reference import reference
from meantide.live.server import DEFAULT_HOST, DEFAULT_PORT, Network
from meantide.live.session import FADE_IN_S, Session, Wishes
from meantide.perform.limiter import CEILING_DBTP
from meantide.perform.master import RISE_DB_PER_S, level_gain, rise_samples
from meantide.pitch import Tuning

DEFAULT_LEVEL_DB = -30.0
CAUTION = (
    "caution: dBFS says nothing about loudness in the room: begin with amplifiers turned down, and "
    "measure at the ear.\nA guide: 85 dBA for 8 h a day, half the time for each 3 dB more (NIOSH); "
    "80 dB for 40 h a week (WHO/ITU H.870);\nlocal rules come first."
)


def _print_addresses(context: click.Context) -> None:
    click.echo(reference())
    context.exit()


@click.command()
@click.option(
    "--audio",
    type=click.Choice(BACK_ENDS),
    default="auto",
    show_default=True,
    help="Where the sound goes; none runs without a device.",
)
@click.option(
    "--rate",
    type=click.IntRange(8_000, 192_000),
    default=48_000,
    show_default=True,
    help="Samples a second; JACK overrules it.",
)
@click.option(
    "--block",
    type=click.IntRange(16, 8192),
    default=256,
    show_default=True,
    help="Frames a block; JACK overrules it.",
)
@click.option("--host", default=DEFAULT_HOST, show_default=True, help="Address to listen on.")
@click.option(
    "--allow",
    "networks",
    multiple=True,
    metavar="NETWORK",
    help="Who may speak besides this machine, such as 192.168.1.0/24; may be given again.",
)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=DEFAULT_PORT,
    show_default=True,
    help="UDP and TCP port; 0 takes any free one.",
)
@click.option("--scale", default="12-equal", show_default=True, help="Scale: a name or a path.")
@click.option(
    "--anchor", default="a440", show_default=True, help="Anchor: a name, a path, or A4=432."
)
@click.option("--layout", default="linear", show_default=True, help="Layout: a name or a path.")
@click.option("--voice", default="plain-reed", show_default=True, help="Voice: a name or a path.")
@click.option(
    "--notes",
    type=click.IntRange(1, 1024),
    default=64,
    show_default=True,
    help="The most notes at once; the quietest makes room.",
)
@click.option(
    "--level",
    type=click.FloatRange(-100.0, 0.0),
    default=DEFAULT_LEVEL_DB,
    show_default=True,
    help="Level in dB to begin with.",
)
@click.option(
    "--journal",
    type=click.Path(path_type=Path),
    help="A new file for all that is played; `meantide render` makes it sound again.",
)
@click.option(
    "--resume",
    is_flag=True,
    help="Go on with --journal, if it is there: the tuning, parts and level it ends in.",
)
@click.option(
    "--addresses",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=lambda ctx, _, wanted: _print_addresses(ctx) if wanted else None,
    help="Print the OSC addresses and end.",
)
@kernel_option
def live(
    audio: str,
    rate: int,
    block: int,
    host: str,
    networks: tuple[str, ...],
    port: int,
    scale: str,
    anchor: str,
    layout: str,
    voice: str,
    notes: int,
    level: float,
    journal: Path | None,
    resume: bool,
    kernel: str,
) -> None:
    """Start the engine and its OSC server; Ctrl-C ends it.

    \b
    meantide live --scale 31-equal --anchor A4=435
    oscsend osc.udp://127.0.0.1:40440 /note/on sf C#5 0.6
    """
    if resume and journal is None:
        raise InvalidValue("resume", "no --journal", "--resume together with --journal FILE")
    catalogue = Catalogue()
    tuning = Tuning(catalogue.scale(scale), catalogue.anchor(anchor), catalogue.layout(layout))
    wishes = Wishes(
        audio, rate, block, notes, host, port, tuning, catalogue.voice(voice), level, journal,
        kernel, resume, allow=tuple(map(_network, networks)),
    )  # fmt: skip
    presets = Catalogue(paths=False)  # strangers name presets, never files
    session = Session(wishes, presets, click.echo)
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: session.end())
    _announce(session, session.control.state.level_db)
    session.run()
    _farewell(session)


def _network(text: str) -> Network:
    try:
        return ipaddress.ip_network(text)
    except ValueError as error:
        allowed = f"a network, such as 192.168.1.0/24, or one address ({error})"
        raise InvalidValue("--allow", text, allowed) from None


def _announce(session: Session, level: float) -> None:
    engine, server, tuning = session.engine, session.server, session.control.state.tuning
    fade_in_s = max(FADE_IN_S, rise_samples(0.0, level_gain(level), engine.rate) / engine.rate)
    click.echo(
        f"audio: {engine.host}, {engine.rate} Hz, {engine.block} frames a block, "
        f"{engine.kernel} kernel, in process {engine.audio_pid}\n"
        f"OSC: udp {server.host}:{server.port}, tcp at the same\n"
        f"tuning: {tuning.scale.label}, {tuning.anchor.label}; "
        f"voice: {session.control.state.main.voice.name}\n"
        f"level: {level:g} dB, coming up over {fade_in_s:.1f} s; a note at full velocity is as "
        f"strong as a sine at {level:g} dBFS; true peaks are held under "
        f"{CEILING_DBTP:g} dBTP, and the level never rises faster than {RISE_DB_PER_S:g} dB a "
        f"second\n{CAUTION}"
    )
    if ipaddress.ip_address(server.host).is_loopback:
        click.echo("who may speak: this machine")
    else:
        click.echo(f"who may speak: this machine, {', '.join(map(str, server.allow))}")
        click.echo(
            f"caution: anyone in these networks who reaches {server.host} can play this engine; "
            "nothing is encrypted, and a sender's address can be forged",
            err=True,
        )
    click.echo("Ctrl-C ends it")


def _farewell(session: Session) -> None:
    engine, counts, traffic = session.engine, session.engine.counts, session.server.traffic
    click.echo(
        f"ended after {engine.sample / engine.rate:.1f} s: {counts.events} events, "
        f"{counts.late} late, {counts.refused} refused, {counts.taken} notes taken, "
        f"{counts.thinned} thinned; "
        f"{traffic.messages} messages, {traffic.errors} errors, "
        f"{traffic.dropped} packets too many, {traffic.strangers} from strangers"
    )
    load = engine.load
    click.echo(
        f"blocks took {load.median:.0%} of their length (median), {load.high:.0%} (99.9th "
        f"percentile), {load.worst:.0%} at worst; {load.long} of {load.blocks} were too long, "
        f"and {load.lost} were lost"
    )
    if engine.health.errors:
        click.echo(
            f"{engine.health.errors} blocks failed and were silent; the last: "
            f"{engine.health.last_error}",
            err=True,
        )
