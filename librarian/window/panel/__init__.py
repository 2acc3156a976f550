"""The front panel: every control of the chart, in the chart's own sections and rows, where it stands."""
