"""Charts: an instrument as a text file, compiled to parameters, display scales and codecs."""

from librarian.chart.carry import Carried, CarriedRow, carry
from librarian.chart.chart import Chart, Section
from librarian.chart.codec import Codec
from librarian.chart.controllers.encode import Burst
from librarian.chart.controllers.listener import Heard, Listener
from librarian.chart.dump import Decoded, DumpRefused, NotWritable, Recognised, UnknownValues
from librarian.chart.faults import ChartFaults, Fault
from librarian.chart.identity import Fit, IdentityRule
from librarian.chart.load import load, loads
from librarian.chart.memory import Memory
from librarian.chart.parameter import Parameter
from librarian.chart.schema import schema
from librarian.chart.shipped import shipped
from librarian.chart.ways import ControllerEnd, Way

__all__ = [
    "Burst",
    "Carried",
    "CarriedRow",
    "Chart",
    "ChartFaults",
    "Codec",
    "ControllerEnd",
    "Decoded",
    "DumpRefused",
    "Fault",
    "Fit",
    "Heard",
    "IdentityRule",
    "Listener",
    "Memory",
    "NotWritable",
    "Parameter",
    "Recognised",
    "Section",
    "UnknownValues",
    "Way",
    "carry",
    "load",
    "loads",
    "schema",
    "shipped",
]
