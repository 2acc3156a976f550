"""Conversations with an instrument: identify, capture, recall, verify. Plain functions over a cable and a chart."""

from librarian.transfer.bank import Backup, backup, same_sound, written_as_a_whole
from librarian.transfer.byhand import capture_by_hand
from librarian.transfer.cancel import Cancel, OnProgress, Progress
from librarian.transfer.capture import capture
from librarian.transfer.identify import identify
from librarian.transfer.line import Knowledge, Line
from librarian.transfer.live import listen, panic
from librarian.transfer.program import capture_program
from librarian.transfer.read import can_be_read
from librarian.transfer.recall import recall, refusal
from librarian.transfer.replay import ReplayedCable
from librarian.transfer.restore import Replace, Restored, restore
from librarian.transfer.results import Captured, Identified, Proof, Recalled, Verified
from librarian.transfer.troubles import (
    Busy,
    EchoLoop,
    ForeignOnly,
    InstrumentRefused,
    NoReply,
    NotUnderstood,
    TookTooLong,
    WrongInstrument,
    and_list,
)
from librarian.transfer.verify import verify

__all__ = [
    "Backup",
    "Busy",
    "Cancel",
    "Captured",
    "EchoLoop",
    "ForeignOnly",
    "Identified",
    "InstrumentRefused",
    "Knowledge",
    "Line",
    "NoReply",
    "NotUnderstood",
    "OnProgress",
    "Progress",
    "Proof",
    "Recalled",
    "Replace",
    "ReplayedCable",
    "Restored",
    "TookTooLong",
    "Verified",
    "WrongInstrument",
    "and_list",
    "backup",
    "can_be_read",
    "capture",
    "capture_by_hand",
    "capture_program",
    "identify",
    "listen",
    "panic",
    "recall",
    "refusal",
    "restore",
    "same_sound",
    "verify",
    "written_as_a_whole",
]
