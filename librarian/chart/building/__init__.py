"""From validated tables to the running chart. Called only when the chart has no fault."""
