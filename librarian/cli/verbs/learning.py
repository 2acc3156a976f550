"""Verbs that write charts: learn controls from the panel, learn dumps from moves of one control."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from librarian.chart import Chart, Listener, loads
from librarian.chart.language.writing import value_text
from librarian.chart.learn import BLANK, Control, Naming, PanelLearner
from librarian.chart.learn.dumps import DumpLearner, Finding, Question, dials_of
from librarian.chart.learn.sums import SumGuess
from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.connect import wait_for_port
from librarian.cli.exits import Exit
from librarian.cli.here import Here, aside, cell, table
from librarian.cli.reading import sysex_of
from librarian.cli.verb import verb
from librarian.cli.waiting import on_interrupt
from librarian.errors import BadInput, OutsideProblem, Refused
from librarian.files.syx import write_whole
from librarian.messages import Message
from librarian.transfer.connections import Connections
from librarian.wire import traffic, universal
from librarian.wire.cable import Cable

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="The chart file; it is added to if it exists.")]
OutOption = Annotated[str | None, typer.Option("--out", metavar="PORT", help="The output to the instrument ...")]
InOption = Annotated[str | None, typer.Option("--in", metavar="PORT", help="... and the input it is heard on.")]
QUIET_S = 0.8
"""A control that has rested for so long is asked about."""
DUMP_S = 60.0
PAUSE_S = 0.5
"""Messages of one dump follow each other within this time."""
HOW = "Section/Name, nothing to move it more, - to leave it out, . to write the chart"


class _Enough(Exception):  # noqa: N818 - not an error
    """The person ended the session while a name was asked for."""


def add_to(app: typer.Typer) -> None:
    """Register these verbs in the group `chart`."""
    for group in app.registered_groups:
        if group.name == "chart" and group.typer_instance is not None:
            verb(group.typer_instance, "learn")(learn)
            verb(group.typer_instance, "learn-dumps")(learn_dumps)


def learn(
    here: Here,
    file: FileArgument,
    name: Annotated[str, typer.Option("--name", metavar="TEXT", help="Name of the model, for a new chart.")] = "",
    output: OutOption = None,
    input_: InOption = None,
    recording: Annotated[
        Path | None, typer.Option("--recording", metavar="FILE", help="Learn from saved traffic instead of a port.")
    ] = None,
    all_: Annotated[
        bool, typer.Option("--all", help="Controls that get no name are called by how they travel.")
    ] = False,
) -> None:
    """Learn from the panel: move one control after another, say what each is, and the chart is written."""
    existing = _existing(file)
    learner = PanelLearner(_chart(existing, file) if existing else None)
    if recording is not None:
        for crossing in traffic.load(recording):
            if crossing.direction == "in" and not crossing.damage:
                learner.feed(crossing.raw, crossing.at)
        if not all_:
            _name_heard(here, learner)
    else:
        with _cable(output, input_) as cable:
            _listen(here, learner, cable)
    if all_:
        for control in learner.controls():
            if not control.label:
                learner.name(control.key, Naming(control.texts[0]))
    named = [control for control in learner.controls() if control.label]
    _write(file, learner.chart_text(id=name or file.stem, name=name or file.stem, existing=existing))
    made = table("Control", "Travels by", "Kind", "Lowest", "Highest", "Messages", "Advice", right=(3, 4, 5))
    rows = []
    for control in named:
        row = _control(control)
        rows.append(row)
        made.add_row(
            cell(row.label), cell("; ".join(row.travels)), row.kind, str(row.low), str(row.high), str(row.messages),
            row.advice,
        )  # fmt: skip
    said = f"{len(named)} {'control' if len(named) == 1 else 'controls'} written to {clean(str(file))}."
    here.answer(answers.Learnt(file=str(file), controls=rows, unused=dict(learner.unused)), made, said)


def learn_dumps(
    here: Here,
    file: FileArgument,
    dump: Annotated[
        list[str] | None,
        typer.Option(
            "--dump",
            metavar="FILE[@CONTROL[=VALUE]]",
            help="A dump: of any sound, or after only CONTROL was moved since the one before. In their order.",
        ),
    ] = None,
    output: OutOption = None,
    input_: InOption = None,
    request: Annotated[
        str, typer.Option("--request", metavar="HEX", help="The message that asks for the dump, if it is known.")
    ] = "",
    device: Annotated[int | None, typer.Option("--device", min=0, max=126, help="The unit's device ID.")] = None,
    others: Annotated[int, typer.Option("--others", min=0, help="How many other sounds to ask for first.")] = 2,
    names: Annotated[bool, typer.Option("--names", help="The sounds have names: ask for some to be changed.")] = False,
) -> Exit:
    """Learn a dump: packing, checksum and fields, from dumps before and after one control was moved."""
    existing = _existing(file)
    if not existing:
        raise BadInput(f"There is no chart {file}.", "Learn its controls first: librarian chart learn FILE")
    asking = _bytes(request)
    chart = _chart(existing, file)
    learner = DumpLearner(dials_of(chart), others=others, names=names)
    for said in dump or ():
        _take(learner, said)
    if output is not None or input_ is not None:
        with _cable(output, input_) as cable:
            _converse(here, learner, chart, cable, asking)
    finding = learner.finding()
    question = learner.question()
    why = ""
    try:
        text = learner.chart_text(existing, request=asking or None, device=device)
        _write(file, text)
    except Refused as refused:
        why = str(refused)
        aside(clean(f"{refused} {refused.hint}".strip()))
    for note in learner.notes:
        aside(clean(note))
    _tell(here, file, learner, finding, question, written=not why)
    return Exit.COULD_NOT if why else Exit.OK


# --- the panel


def _listen(here: Here, learner: PanelLearner, cable: Cable) -> None:
    """Hear until the person says that it is enough; ask about each control when it rests."""
    done = [False]
    asking = [False]
    shown: tuple[int, int] | None = None

    def enough() -> None:
        done[0] = True
        if asking[0]:
            raise _Enough  # a line that is waited for would have to be ended by Enter first

    aside("Move one control from end to end, then wait. Ctrl+C writes the chart.")
    cable.send(universal.identity_request())
    last = cable.clock.now()
    with on_interrupt(enough), suppress(_Enough):
        while not done[0]:
            arrival = cable.receive(0.1)
            if isinstance(arrival, Message):
                learner.feed(arrival.raw, arrival.at)
                last = cable.clock.now()
                continue
            current = learner.current()
            if current is None or current.label or cable.clock.now() - last < QUIET_S:
                continue
            if shown != (current.key, current.messages):
                shown = (current.key, current.messages)
                asking[0] = True
                more = _ask(here, learner, current)
                asking[0] = False
                done[0] = done[0] or not more


def _name_heard(here: Here, learner: PanelLearner) -> None:
    for control in learner.controls():
        if not _ask(here, learner, control):
            return


def _ask(here: Here, learner: PanelLearner, control: Control) -> bool:
    """Ask what a control is; False when the person has enough, or the input has ended."""
    nature = control.nature
    steps = f", positions {' '.join(str(step) for step in nature.steps)}" if nature.steps else ""
    here.say(f"{clean('; '.join(control.texts))}: {nature.kind}, {nature.low} to {nature.high}{steps}. {nature.advice}")
    while True:
        aside(f"What is it? ({HOW})")
        line = sys.stdin.readline()
        said = line.strip()
        if not line or said == ".":
            return False
        if said == "-":
            learner.leave_out(control.key)
        elif said:
            section, slash, label = said.rpartition("/")
            try:
                learner.name(control.key, Naming(label.strip(), section.strip() if slash else "Panel"))
            except BadInput as wrong:
                aside(clean(f"{wrong} {wrong.hint}"))
                continue
            aside(clean(f"{label.strip()} is named. Move the next one."))
        return True


def _control(control: Control) -> answers.LearntControl:
    nature = control.nature
    return answers.LearntControl(
        label=control.label, travels=list(control.texts), kind=nature.kind, low=nature.low, high=nature.high,
        messages=control.messages, advice=nature.advice,
    )  # fmt: skip


# --- dumps


def _take(learner: DumpLearner, said: str) -> None:
    """One `--dump`."""
    name, at, move = said.rpartition("@")
    if not at:
        name, move = said, ""
    raws = sysex_of(Path(name))
    if not raws:
        raise BadInput(f"{name} holds no SysEx message.", "Give one dump in each file.")
    control, equals, value = move.partition("=")
    if not move:
        learner.sound(*raws)
        return
    try:
        number = int(value) if equals else None
    except ValueError as wrong:
        raise BadInput(f"“{value}” is no whole number.", "Write the value as the instrument counts.") from wrong
    learner.moved(control, number, *raws)


def _converse(here: Here, learner: DumpLearner, chart: Chart, cable: Cable, request: bytes) -> None:
    """Ask for one move after another until nothing is left to tell apart."""
    listener = chart.codec.listener(chart.default_address)
    while (question := learner.question()) is not None:
        here.say(clean(question.sentence))
        text = ""
        if request or question.asks:
            asks = f" Type {question.asks}." if question.asks else ""
            aside(f"Press Enter when it is done (- if it cannot be done, . to stop).{asks}")
            line = sys.stdin.readline()
            text = line.strip()
            if not line or text == ".":
                return
            if text == "-":
                learner.skip(question)
                continue
        if request:
            cable.send(request)
        raws = _dump(cable, listener, learner)
        if not raws:
            aside("No dump came; that is all for now.")
            return
        try:
            learner.answer(question, *raws, text=text)
        except BadInput as wrong:
            aside(clean(f"{wrong} {wrong.hint}"))


def _dump(cable: Cable, listener: Listener, learner: DumpLearner) -> tuple[bytes, ...]:
    """The messages of one dump: it has ended when nothing more came for a moment. What the panel tells is noted."""
    raws: list[bytes] = []
    last = 0.0
    until = cable.clock.now() + DUMP_S
    stopped = [False]
    with on_interrupt(lambda: stopped.__setitem__(0, True)):
        while cable.clock.now() < until and not stopped[0]:
            arrival = cable.receive(0.1)
            if isinstance(arrival, Message):
                heard = listener.feed(arrival.raw, arrival.at)
                for one in heard:
                    learner.heard(one.parameter, one.value if one.exact else None)
                if not heard and arrival.is_sysex and arrival.raw[1:2] not in (b"\x7e", b"\x7f"):
                    raws.append(arrival.raw)
                    last = cable.clock.now()
            elif raws and cable.clock.now() - last >= PAUSE_S:
                break
    return tuple(raws)


def _tell(
    here: Here, file: Path, learner: DumpLearner, finding: Finding, question: Question | None, *, written: bool
) -> None:
    fields = []
    made = table("Control", "Where", "Guesses", right=(2,))
    for name, found in finding.controls.items():
        keys = value_text(dict(found.guesses[0].keys)) if found.guesses else ""
        fields.append(answers.LearntField(id=name, moved=found.moved, guesses=len(found.guesses), keys=keys))
        where = keys or ("not told apart yet" if found.moved else "did not change the dump")
        made.add_row(cell(name), where, str(len(found.guesses)))
    sums = [_guess(one) for one in (*finding.sums, *([finding.inner] if finding.inner is not None else []))]
    tried = [_guess(one) for one in finding.tried]
    reading = finding.reading
    told: list[str | Table] = [
        f"{len(learner.evidence.shots)} dumps. Data in bytes {reading.start + 1} to {reading.end}, "
        f"packed as {reading.packing}.",
        *(_sentence(one) for one in sums),
        *([] if sums else ["No checksum was found.", *(_sentence(one) for one in tried[:3])]),
        made,
        f"Written to {clean(str(file))}." if written else "Nothing was written.",
        *([f"To tell more apart: {clean(question.sentence)}"] if question is not None else []),
    ]
    answer = answers.LearntDumps(
        file=str(file), written=written, dumps=len(learner.evidence.shots), packing=reading.packing,
        first=reading.start + 1, last=reading.end, checksums=sums, other_checksums=tried, fields=fields,
        question=question.sentence if question is not None else "",
    )  # fmt: skip
    here.answer(answer, *told)


def _guess(one: SumGuess) -> answers.ChecksumGuess:
    return answers.ChecksumGuess(
        kind=one.kind, bits=one.form.bits, at=one.at + 1, first=one.first + 1, last=one.end, unpacked=one.unpacked,
        agree=one.agree, of=one.of,
    )  # fmt: skip


def _sentence(one: answers.ChecksumGuess) -> str:
    over = "the unpacked data" if one.unpacked else f"bytes {one.first} to {one.last}"
    return f"Byte {one.at}: {one.kind}, {one.bits} bits, over {over}; {one.agree} of {one.of} dumps agree."


# --- files and ports


def _existing(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8") if file.exists() else ""
    except (OSError, UnicodeDecodeError) as wrong:
        raise OutsideProblem(f"{file} cannot be read.", "Name a text file, or a new one.") from wrong


def _chart(text: str, file: Path) -> Chart:
    return loads(text, file.name, folder=file.parent)


def _write(file: Path, text: str) -> None:
    """Whole or not at all."""
    write_whole(file, [text.encode()], replace=True)


def _bytes(text: str) -> bytes:
    try:
        raw = bytes.fromhex(text)
    except ValueError as wrong:
        raise BadInput(f"“{text}” is not hexadecimal.", 'Write bytes such as "F0 7D 10 11 F7".') from wrong
    if raw and (raw[0] != 0xF0 or raw[-1] != 0xF7):
        raise BadInput("The request is no whole SysEx message.", "It begins with F0 and ends with F7.")
    return raw


@contextmanager
def _cable(output: str | None, input_: str | None) -> Iterator[Cable]:
    if output is None or input_ is None:
        raise BadInput("One port alone is no connection.", "Say both --out PORT and --in PORT.")
    with Connections() as connections:
        out, in_ = wait_for_port(connections, output, "out"), wait_for_port(connections, input_, "in")
        line = connections.open_ports(out, in_, loads(BLANK))
        try:
            yield line.cable
        finally:
            line.cable.close()
