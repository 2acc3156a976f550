"""Random charts, random sounds: encode, send, assemble, decode is identity; what came goes back to the byte."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.chart.dump import DumpCodec, DumpRefused, ProgramSource
from librarian.messages import Address, Message
from librarian.wire.assembler import Assembler
from tests.dumped_random import Sketch, sketches, sounds

ADDRESS = Address(2, 5)


def slots_of(codec: DumpCodec, data: st.DataObject) -> dict[str, int]:
    found = codec.messages["dump"].slots
    return {word: data.draw(st.integers(low, high)) for word, (low, high) in found.items()}


def arrived(raws: tuple[bytes, ...], chunk: int) -> tuple[bytes, ...]:
    """The messages after a cable that delivers them in chunks."""
    assembler = Assembler()
    stream = b"".join(raws)
    arrivals = [one for at in range(0, len(stream), chunk) for one in assembler.feed(stream[at : at + chunk], 0.0)]
    arrivals += assembler.finish()
    assert all(isinstance(one, Message) for one in arrivals)
    return tuple(one.raw for one in arrivals)


@settings(max_examples=60)
@given(sketches(), st.data())
def test_encode_send_assemble_decode(sketch: Sketch, data: st.DataObject) -> None:
    codec = sketch.codec()
    info = codec.messages["dump"]
    slots = slots_of(codec, data)
    letters = st.text(st.sampled_from("ABCxyz019"), max_size=info.name_size)
    names = [data.draw(letters) if info.has_name else None for _ in range(info.programs)]
    each: list[dict[str, int]] = [data.draw(sounds(sketch.parameters)) for _ in range(info.programs)]
    if info.programs == 1:
        raws = codec.encode("dump", each[0], ADDRESS, name=names[0], form="answer", **slots)
    else:
        sources = {n: ProgramSource(*pair) for n, pair in enumerate(zip(each, names, strict=True))}
        raws = codec.encode_bank("dump", sources, ADDRESS, form="answer", **slots)
    assert info.length is None or sum(map(len, raws)) == info.length
    assert len(raws) == info.messages
    assert arrived(raws, data.draw(st.integers(1, 40))) == raws

    decoded = codec.decode_all(raws, ADDRESS)
    programs = decoded.programs or (decoded,)
    assert [dict(one.values) for one in programs] == each
    assert [one.name for one in programs] == [name or "" for name in names]
    assert all(decoded.slots[word] == number for word, number in slots.items())
    again: tuple[bytes, ...]
    if info.programs == 1:
        again = codec.encode("dump", {}, ADDRESS, base=raws, form="answer")
        assert codec.encode("dump", each[0], ADDRESS, base=raws, form="answer", name=names[0]) == raws
    else:
        again = codec.encode_bank("dump", {}, ADDRESS, base=raws, form="answer")
    assert again == raws
    for raw in raws:
        rows = codec.explain(raw, ADDRESS)
        assert bytes(row.byte for row in rows) == raw
        assert not any("not agree" in row.value or "none of its values" in row.value for row in rows)


@settings(max_examples=60)
@given(sketches(), st.data())
def test_a_changed_dump_is_refused_or_goes_back_to_the_byte(sketch: Sketch, data: st.DataObject) -> None:
    """Whatever a byte is changed into: what is taken can be written again exactly, with its odd values and fillings."""
    codec = sketch.codec()
    slots = slots_of(codec, data)
    lowest = {identity: spec.low for identity, spec in sketch.parameters.items()}
    info = codec.messages["dump"]
    kwargs: dict[str, Any] = {"form": "answer", **slots}
    if info.programs == 1:
        raws = codec.encode("dump", lowest, ADDRESS, **kwargs)
    else:
        raws = codec.encode_bank("dump", {n: ProgramSource(lowest) for n in range(info.programs)}, ADDRESS, **kwargs)
    which = data.draw(st.integers(0, len(raws) - 1))
    place = data.draw(st.integers(1, len(raws[which]) - 2))
    changed = raws[which][:place] + bytes((data.draw(st.integers(0, 127)),)) + raws[which][place + 1 :]
    mutated = (*raws[:which], changed, *raws[which + 1 :])
    try:
        decoded = codec.decode_all(mutated, ADDRESS)
    except DumpRefused:
        return
    if info.programs == 1:
        again = codec.encode("dump", decoded.values, ADDRESS, base=mutated, form="answer", name=decoded.name)
    else:
        sources = {one.number: ProgramSource(one.values, one.name or None) for one in decoded.programs}
        again = codec.encode_bank("dump", sources, ADDRESS, base=mutated, form="answer")
    assert again == mutated
    assert not set(decoded.odd) & set(decoded.values)
