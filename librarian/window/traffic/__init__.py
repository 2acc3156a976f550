"""What crossed the cable, decoded through the chart."""
