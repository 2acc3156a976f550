"""Learning a chart from the instrument itself: ports, controls moved one at a time, dumps before and after a move."""
