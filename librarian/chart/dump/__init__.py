"""SysEx dumps from a chart: the language of messages and layouts, its check, and the compiled codec.

A dump is described in steps that are composed freely: frame, checksum, packing, fields.
"""

from librarian.chart.dump.codec import DumpCodec
from librarian.chart.dump.compile import compile_dumps as compile  # noqa: A004 - says what it does
from librarian.chart.dump.model import Charset, Codes, Layout, Message
from librarian.chart.dump.planning.check import check
from librarian.chart.dump.planning.plan import Dumps
from librarian.chart.dump.planning.problem import Problem
from librarian.chart.dump.refusal import DumpRefused, NotStorable, UnknownValues
from librarian.chart.dump.results import Decoded, Form, MessageInfo, Program, ProgramSource, Recognised, Row
from librarian.chart.dump.running.alike import Alike
from librarian.chart.dump.running.frame import NotAddressable
from librarian.chart.dump.running.gather import Gather
from librarian.chart.dump.running.handshake import Handshake, HandshakeKind
from librarian.chart.dump.running.repeated import Repeater, Repeats
from librarian.chart.dump.specs import AddressRule, ParameterSpec
from librarian.chart.dump.steps.text import NotWritable

__all__ = [
    "AddressRule",
    "Alike",
    "Charset",
    "Codes",
    "Decoded",
    "DumpCodec",
    "DumpRefused",
    "Dumps",
    "Form",
    "Gather",
    "Handshake",
    "HandshakeKind",
    "Layout",
    "Message",
    "MessageInfo",
    "NotAddressable",
    "NotStorable",
    "NotWritable",
    "ParameterSpec",
    "Problem",
    "Program",
    "ProgramSource",
    "Recognised",
    "Repeater",
    "Repeats",
    "Row",
    "UnknownValues",
    "check",
    "compile",
]
