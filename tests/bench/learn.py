"""Learning from dumps, tried on invented instruments whose charts the learner does not see.

    python -m tests.bench.learn --seed 1 --instruments 12

A person at the panel of a stand-in does what the learner asks. An instrument counts as learnt when the chart that was
written decodes random dumps of the hidden one to the same values and encodes the same bytes for random values.
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
from tests.hidden import STRUCTURES, Hidden, Person, base, hidden

SOUNDS = 40


def learn(instrument: Hidden, seed: int) -> tuple[DumpLearner, Person]:
    """Follow the learner's questions to the end."""
    person = Person(instrument, seed)
    learner = DumpLearner(dials_of(loads(instrument.start)))
    while (question := learner.question()) is not None:
        if question.kind == "move":
            raw = person.move(question.control, question.value)
        else:
            raw = person.other() if question.kind == "other" else person.dump()
        learner.answer(question, raw)
    return learner, person


def trouble(hidden: Chart, learnt: Chart, person: Person, seed: int) -> str:
    """Where the learnt chart differs from the hidden one, or ''."""
    chance = random.Random(seed)

    def values() -> dict[str, int]:
        return {name: chance.randint(one.low, one.high) for name, one in hidden.parameters.items()}

    for number in range(SOUNDS):
        before, after = values(), values()
        (raw,) = base(hidden, before, chance, person.address)
        decoded = learnt.codec.decode(raw, person.address).values
        wrong = [name for name, value in before.items() if decoded.get(name) != value]
        if wrong:
            return f"sound {number}: {wrong[0]} is {before[wrong[0]]}, read {decoded.get(wrong[0])}"
        if learnt.codec.encode("edit", decoded, person.address, base=raw) != (raw,):
            return f"sound {number}: not the same to the byte"
        theirs = hidden.codec.encode("edit", after, person.address, base=raw)
        if learnt.codec.encode("edit", after, person.address, base=raw) != theirs:
            return f"sound {number}: other values are encoded differently"
    return ""


def run(instruments: int, seed: int) -> dict[str, float]:
    """Learn so many instruments; what is wrong with those that failed goes to standard error."""
    names = list(STRUCTURES)
    learnt = most = 0
    each = slowest = 0.0
    for number in range(instruments):
        one = hidden(names[number % len(names)], seed + number // len(names))
        started = time.perf_counter()
        learner, person = learn(one, seed + number)
        try:
            found = loads(learner.chart_text(one.start, request=person.request, device=16))
            wrong = trouble(one.chart, found, person, seed)
        except LibrarianError as error:
            wrong = str(error)
        slowest = max(slowest, time.perf_counter() - started)
        learnt += not wrong
        most = max(most, learner.asked)
        each = max(each, learner.asked / len(learner.dials))
        print(f"{one.name}: {len(learner.dials)} controls, {learner.asked} dumps{', ' + wrong if wrong else ''}")
        if wrong:
            print(f"{one.name}, seed {seed}: {wrong}", file=sys.stderr)
    return {
        "instruments": instruments, "learnt": learnt, "questions_max": most, "per_control_max": each,
        "slowest_s": slowest,
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0] if __doc__ else "")
    parser.add_argument("--instruments", type=int, default=12)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    found = run(given.instruments, given.seed)
    print("RESULT " + " ".join(f"{key}={value:.4g}" for key, value in found.items()))


if __name__ == "__main__":
    main()
