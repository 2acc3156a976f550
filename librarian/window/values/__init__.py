"""The values under the panel: section, parameter, both sounds, difference and range, in display units."""
