"""Learning from dumps, tried on invented instruments whose charts the learner does not see.

    python -m tests.bench.learn --seed 1 --instruments 20 --drawn 8

A person at the panel of a stand-in does what the learner asks. An instrument counts as learnt when the chart that was
written decodes random dumps of the hidden one to the same values, name and program, gives them back to the byte, and
encodes the same bytes for random values. One has a checksum that cannot be learnt (`only_kept`): its chart has to read
and keep every dump, and must not offer to send one.
`questions_max`: the most dumps that any instrument needed; `per_control_max` the same, for each of its controls.
"""

from __future__ import annotations

import argparse
import random
import sys
import time

from librarian.chart import Chart, loads
from librarian.chart.learn.dumps import DumpLearner, dials_of
from librarian.errors import LibrarianError
from tests.hidden import DRAWN, STRUCTURES, Hidden, Person, base, hidden

SOUNDS = 40


def learn(instrument: Hidden, seed: int) -> tuple[DumpLearner, Person]:
    """Follow the learner's questions to the end."""
    person = Person(instrument, seed)
    learner = DumpLearner(dials_of(loads(instrument.start)), names=True)
    while (question := learner.question()) is not None:
        text = ""
        if question.kind == "move":
            raws = person.move(question.control, question.value)
        elif question.kind == "name":
            raws, text = person.call(question.text), question.text
        else:
            raws = person.other() if question.kind == "other" else person.dump()
            text = person.told
        learner.answer(question, *raws, text=text)
    return learner, person


def trouble(hidden: Chart, learnt: Chart, person: Person, seed: int, *, secret: bool = False) -> str:
    """Where the learnt chart differs from the hidden one, or ''. `secret`: it only has to read, and to keep."""
    chance = random.Random(seed)

    def values() -> dict[str, int]:
        return {name: chance.randint(one.low, one.high) for name, one in hidden.parameters.items()}

    for number in range(SOUNDS):
        before, after = values(), values()
        slots = {"program": chance.randrange(100)} if person.frame == "program" else {}
        raws = base(hidden, before, chance, person.address, **slots)
        decoded = learnt.codec.decode_all(raws, person.address)
        wrong = [name for name, value in before.items() if decoded.values.get(name) != value]
        if wrong:
            return f"sound {number}: {wrong[0]} is {before[wrong[0]]}, read {decoded.values.get(wrong[0])}"
        name = hidden.codec.decode_all(raws, person.address).name
        if decoded.name != name:
            return f"sound {number}: it is called “{name}”, read “{decoded.name}”"
        if dict(decoded.slots) != slots:
            return f"sound {number}: it is {slots}, read {dict(decoded.slots)}"
        if learnt.codec.encode("edit", decoded.values, person.address, base=raws, form="answer", **slots) != raws:
            return f"sound {number}: not the same to the byte"
        if secret:
            continue
        theirs = hidden.codec.encode("edit", after, person.address, base=raws, name="New 1", **slots)
        if learnt.codec.encode("edit", after, person.address, base=raws, name="New 1", **slots) != theirs:
            return f"sound {number}: other values are encoded differently"
    if secret and "edit" in learnt.codec.messages and any(way.message == "edit" for way in learnt.ways_out):
        return "a dump whose checksum is not known would be sent to the instrument"
    return ""


def run(instruments: int, seed: int, drawn: int = 0) -> dict[str, float]:
    """Learn so many instruments of the structures that are written down, and so many whose structure is drawn by the
    seed; what is wrong with those that failed goes to standard error."""
    names = list(STRUCTURES)
    wanted = [(names[number % len(names)], seed + number // len(names)) for number in range(instruments)]
    wanted += [(DRAWN, 1000 * seed + number) for number in range(drawn)]
    learnt = most = kept = 0
    each = slowest = 0.0
    for number, (name, chosen) in enumerate(wanted):
        one = hidden(name, chosen)
        started = time.perf_counter()
        learner, person = learn(one, seed + number)
        try:
            found = loads(learner.chart_text(one.start, request=person.request, device=16))
            wrong = trouble(one.chart, found, person, seed, secret=one.secret)
        except LibrarianError as error:
            wrong = str(error)
        slowest = max(slowest, time.perf_counter() - started)
        learnt += not wrong
        kept += not wrong and one.secret
        most = max(most, learner.asked)
        each = max(each, learner.asked / len(learner.dials))
        print(f"{one.name}: {len(learner.dials)} controls, {learner.asked} dumps{', ' + wrong if wrong else ''}")
        if wrong:
            print(f"{one.name}, seed {chosen}: {wrong}", file=sys.stderr)
    return {
        "instruments": len(wanted), "learnt": learnt, "questions_max": most, "per_control_max": each,
        "only_kept": kept, "slowest_s": slowest,
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0] if __doc__ else "")
    parser.add_argument("--instruments", type=int, default=len(STRUCTURES), help="of the structures written down")
    parser.add_argument("--drawn", type=int, default=8, help="instruments whose structure the seed draws")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    found = run(given.instruments, given.seed, given.drawn)
    print("RESULT " + " ".join(f"{key}={value:.4g}" for key, value in found.items()))


if __name__ == "__main__":
    main()
