"""Verbs about what is connected: ports, and the instruments of the library."""

from __future__ import annotations

import shlex
from typing import Annotated

import typer

from librarian.chart import Chart
from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.connect import instrument_named, wait_for_port
from librarian.cli.here import Here, aside, cell, table
from librarian.cli.reading import chart_file
from librarian.cli.verb import verb
from librarian.collection import InstrumentRow, Library
from librarian.errors import BadInput
from librarian.messages import ALL_CALL, Address
from librarian.sounds.carrying import behind
from librarian.transfer.connections import Connections, slowed
from librarian.transfer.troubles import and_list

NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="The name of an instrument in the library.")]
OutOption = Annotated[str | None, typer.Option("--out", metavar="PORT", help="The output that leads to its MIDI IN.")]
InOption = Annotated[str | None, typer.Option("--in", metavar="PORT", help="The input that its MIDI OUT leads to.")]
ChannelOption = Annotated[int | None, typer.Option("--channel", min=1, max=16, help="Its channel, 1 to 16.")]
DeviceOption = Annotated[int | None, typer.Option("--device", min=0, max=126, help="Its device ID, 0 to 126.")]


def add_to(app: typer.Typer) -> None:
    """Register `ports` and the group `instrument`."""
    verb(app, "ports")(ports)
    group = typer.Typer(help="The instruments of the library: add, list, change, remove.", no_args_is_help=True)
    verb(group, "add")(add)
    verb(group, "list")(list_all)
    verb(group, "change")(change)
    verb(group, "remove")(remove)
    app.add_typer(group, name="instrument")


def ports(here: Here) -> None:
    """List the MIDI ports of this computer."""
    with Connections() as connections:
        there = connections.ports()
        system = connections.system()
    made = table("Direction", "Name", "System", "Fingerprint")
    for port in there:
        made.add_row(port.direction, cell(port.name, bold=True), port.api, cell(port.fingerprint))
    answer = answers.Ports(
        system=system.sentence,
        alive=bool(system.apis),
        ports=[
            answers.Port(
                direction=port.direction,
                name=port.name,
                api=port.api,
                ordinal=port.ordinal,
                fingerprint=port.fingerprint,
            )
            for port in there
        ],
    )
    here.answer(answer, clean(system.sentence), *([made] if there else []))


def add(
    here: Here,
    chart: Annotated[
        str, typer.Option("--chart", metavar="FILE", help="Its chart: a file, or the id of a shipped one.")
    ],
    name: Annotated[str | None, typer.Option("--name", help="What to call it; its chart's name if left out.")] = None,
    output: OutOption = None,
    input_: InOption = None,
    channel: ChannelOption = None,
    device: DeviceOption = None,
) -> None:
    """Add an instrument: its chart, and the ports that lead to it."""
    described = chart_file(chart)
    out, in_ = _fingerprints(output, input_)
    with here.opened() as library:
        called = name or described.name
        if any(row.name.casefold() == called.casefold() for row in library.instruments()):
            raise BadInput(f"There is already an instrument called “{called}”.", "Give another name: --name NAME")
        address = _address(described.default_address, channel, device)
        number = library.add_instrument(described, called, address, out or "", in_ or "")
        _answer(here, [library.instrument(number)])


def list_all(here: Here) -> None:
    """List the instruments of the library."""
    with here.opened(only_to_read=True) as library:
        _answer(here, list(library.instruments()))


def change(
    here: Here,
    name: NameArgument,
    rename: Annotated[str | None, typer.Option("--rename", metavar="NAME", help="Another name.")] = None,
    chart: Annotated[str | None, typer.Option("--chart", metavar="FILE", help="Another revision of its chart.")] = None,
    output: OutOption = None,
    input_: InOption = None,
    channel: ChannelOption = None,
    device: DeviceOption = None,
    usual_pace: Annotated[
        bool, typer.Option("--usual-pace", help="Forget that it had to be fed slower: back to the pace of its chart.")
    ] = False,
) -> None:
    """Change the name, ports, channel, device ID or chart revision of an instrument, or reset its pace."""
    described = None if chart is None else chart_file(chart)
    out, in_ = _fingerprints(output, input_)
    with here.opened() as library:
        row = instrument_named(library, name)
        if described is not None and described.id != row.chart:
            raise BadInput(
                f"{row.name} is described by the chart “{row.chart}”, and this one is “{described.id}”.",
                "Add a new instrument for another model.",
            )
        fields: dict[str, object] = {"address": _address(row.address, channel, device)}
        fields |= {
            key: value for key, value in (("name", rename), ("output", out), ("input", in_)) if value is not None
        }
        if usual_pace or (fields.get("output", row.output), fields.get("input", row.input)) != (row.output, row.input):
            fields["pace"] = ""  # it was found out on those ports
        library.update_instrument(row.id, chart=described, **fields)
        _answer(here, [library.instrument(row.id)])
        if described is not None:
            _say_who_is_behind(library, library.instrument(row.id), described)


def remove(here: Here, name: NameArgument) -> None:
    """Take an instrument away. Its sounds stay, readable by the chart that the library keeps."""
    with here.opened() as library:
        row = instrument_named(library, name)
        library.remove_instrument(row.id)
        _answer(here, [library.instrument(row.id)], f"Removed {clean(row.name)}; its sounds stay.")


def _say_who_is_behind(library: Library, row: InstrumentRow, chart: Chart) -> None:
    """Sounds of other revisions cannot be recalled until they are carried over, and nothing else would tell it."""
    rows = behind(library, row.id)
    if not rows:
        return
    kept = library.version_contents([each.latest for each in rows])
    untold = sorted({each.revision for each in kept.values()} - set(chart.revisions) - {chart.revision})
    are = "1 sound of it was" if len(rows) == 1 else f"{len(rows)} sounds of it were"
    aside(f"{are} kept with another revision of the chart.")
    if untold:
        earlier = and_list([str(each) for each in untold])
        aside(
            f"This one does not tell how it came from revision {earlier}: add a [[history]] to it for every revision "
            "between, and give it again."
        )
    else:
        aside(f"Carry them over: librarian carry --instrument {shlex.quote(clean(row.name))}")


def _fingerprints(output: str | None, input_: str | None) -> tuple[str | None, str | None]:
    """What to store for the ports named; looks at the ports only when one is named."""
    if output is None and input_ is None:
        return None, None
    with Connections() as connections:
        out = None if output is None else wait_for_port(connections, output, "out").fingerprint
        in_ = None if input_ is None else wait_for_port(connections, input_, "in").fingerprint
    return out, in_


def _address(before: Address, channel: int | None, device: int | None) -> Address:
    return Address(before.channel if channel is None else channel - 1, before.device if device is None else device)


def instrument_answer(row: InstrumentRow) -> answers.Instrument:
    """An instrument under its documented keys."""
    return answers.Instrument(
        id=row.id,
        name=row.name,
        chart=row.chart,
        revision=row.revision,
        channel=row.address.channel + 1,
        device=None if row.address.device == ALL_CALL else row.address.device,
        output=row.output,
        input=row.input,
        firmware=row.firmware,
        slowed=slowed(row.pace),
    )


def _answer(here: Here, rows: list[InstrumentRow], said: str = "") -> None:
    made = table("Name", "Chart", "Channel", "Device", "Firmware", "Output", "Input", right=(2, 3))
    for row in rows:
        device = "all" if row.address.device == ALL_CALL else str(row.address.device)
        made.add_row(
            cell(row.name, bold=True),
            cell(f"{row.chart} {row.revision}"),
            str(row.address.channel + 1),
            device,
            cell(row.firmware),
            cell(row.output or "not chosen"),
            cell(row.input or "not chosen"),
        )
    found = answers.Instruments(instruments=[instrument_answer(row) for row in rows])
    here.answer(found, said or (made if rows else "No instrument yet: librarian instrument add --chart FILE"))
