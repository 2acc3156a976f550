"""Everything that is painted: palette, type scale, marks, controls, text. Plain functions, no widgets."""
