"""What a conversation found, as values: what was asked, what came, how many of how many, what is proved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from librarian.chart import Chart
from librarian.messages import Address, Comparison, Values, Version
from librarian.transfer.troubles import and_list
from librarian.wire.universal import IdentityReply

FitWord = Literal["fits", "other firmware", "other instrument"]
RecallState = Literal["arrived", "differs", "sent"]


@dataclass(frozen=True, slots=True)
class Identified:
    """Who answered. `reply` is None when it was known by its dump instead (it has no identity reply).

    `address`: where it was found. `firmware`: as the chart reads the revision bytes, '' if unknown. `waited_s`: from
    the request to the whole answer. `thru`: the request itself came back as well. `sentence`: what is true now.
    """

    address: Address
    reply: IdentityReply | None
    firmware: str
    fits: FitWord
    waited_s: float
    thru: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class Captured:
    """A sound as the instrument had it. `known` of `of` parameters; `missing`: ids of the rest, in panel order.

    `refused`: answers that came and could not be used, each with its reason. `readings`: how often it was asked;
    everything known was read at least twice the same (or heard by hand, once). `way`: as the chart calls it.
    `broke_off`: what ended listening before its time, and that what was heard is kept; '' where nothing did.
    """

    version: Version
    known: int
    of: int
    missing: tuple[str, ...]
    way: str
    readings: int
    bytes_in: int
    bytes_out: int
    seconds: float
    refused: tuple[str, ...]
    sentence: str
    broke_off: str = ""


@dataclass(frozen=True, slots=True)
class Proof:
    """A sound as wanted against what was read back.

    `wanted`: the parameters that had to arrive. `equal`: ids read back equal. `differs`: ids that did not arrive.
    `moved`: ids that read back different because their control was moved meanwhile. `disturbed`: ids that were not
    to change and did (the cable turned one controller into another). `unread`: ids that no way of the chart reads
    back. `name`: the name that was read back when it is not the one sent, else ''. `raw`: the dumps read. `silent`:
    ids that were asked for, and no answer came that can be believed. `near`: those of `equal` that read back another
    value, which is as near as anything sets them.
    """

    wanted: Values
    read: Values
    equal: tuple[str, ...]
    differs: tuple[str, ...]
    moved: tuple[str, ...]
    disturbed: tuple[str, ...]
    unread: tuple[str, ...]
    name: str
    comparison: Comparison
    raw: Mapping[str, tuple[bytes, ...]]
    silent: tuple[str, ...] = ()
    near: tuple[str, ...] = ()

    @property
    def whole(self) -> bool:
        """True when every parameter that had to arrive was read back equal, and the name with it."""
        return len(self.equal) == len(self.wanted) and not self.name and not self.disturbed


@dataclass(frozen=True, slots=True)
class Verified:
    """The instrument compared with a version; nothing was written."""

    state: RecallState
    of: int
    equal: int
    proof: Proof | None
    comparison: Comparison | None
    bytes_out: int
    bytes_in: int
    seconds: float
    sentence: str


@dataclass(frozen=True, slots=True)
class Recalled:
    """What became of a recall.

    `state`: 'arrived' (read back and everything equal), 'differs' (read back, and not), 'sent' (some or all of it
    cannot be read back). `sent`: parameters that travelled; `of`: those that had to arrive; `equal`: those read back
    equal. `left_out`: ids of the version that were not sent, set-up and what no way of the chart carries.
    `before`: what the instrument held before (to undo with), None where it cannot be read. `saved`: bytes that did
    not have to travel because they were there already. `rounds`: how often something was sent again.
    `slowed`: how often the gaps are doubled now.
    """

    state: RecallState
    sent: int
    of: int
    equal: int
    proof: Proof | None
    comparison: Comparison | None
    left_out: tuple[str, ...]
    before: Version | None
    way: str
    rounds: int
    slowed: int
    saved: int
    bytes_out: int
    bytes_in: int
    seconds: float
    sentence: str


def proof_sentence(chart: Chart, proof: Proof, *, with_setup: bool, sent: bool = True) -> tuple[RecallState, str]:
    """The state and the exact words for what was read back. `sent`: False where it was only compared."""
    what = "parameters" if with_setup else "sound parameters"
    count = f"{len(proof.equal)} of {len(proof.wanted)} {what} read back equal"
    labels = {name: parameter.label for name, parameter in chart.parameters.items()}
    if proof.near:
        count += f", {and_list([labels[name] for name in proof.near])} as nearly as controllers set "
        count += "it" if len(proof.near) == 1 else "them"
    lost = [labels[name] for name in proof.differs]
    turned = [labels[name] for name in proof.moved]
    touched = [labels[name] for name in proof.disturbed]
    unheard = f"{and_list([labels[name] for name in proof.silent])} could not be read back"
    if lost or turned or touched or proof.name:
        said = []
        if lost:
            different = "differs" if len(lost) == 1 else "differ"
            said.append(f"{and_list(lost)} {'did not arrive' if sent else different}")
        if turned:
            said.append(f"{and_list(turned)} {'was' if len(turned) == 1 else 'were'} moved on the panel meanwhile")
        if touched:
            said.append(f"{and_list(touched)} changed, though not sent")
        if proof.name:
            said.append(f"its name reads “{proof.name}”")
        if proof.silent:
            said.append(unheard)
        return "differs", f"{count}; {', '.join(said)}"
    if proof.silent:
        return "sent", f"{count}; {unheard}"
    if proof.unread:
        if not proof.equal and sent:
            return "sent", sent_sentence(len(proof.unread), len(proof.wanted), with_setup=with_setup)
        unproved = and_list([labels[name] for name in proof.unread])
        return "sent", f"{count}; {unproved} {'sent, ' if sent else ''}cannot be verified"
    return "arrived", count


def sent_sentence(sent: int, of: int, *, with_setup: bool) -> str:
    """The words for what nothing proves."""
    what = "parameters" if with_setup else "sound parameters"
    return f"{sent} of {of} {what} sent, cannot be verified"
