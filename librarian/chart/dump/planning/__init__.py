"""From the tables of a chart to exact bytes: layouts written out, frames laid out, every fault told."""
