"""One schematic for every pen: what is drawn of a circuit, and where it stands.

`sheets` says what is drawn, once for each document: boxes, lines, their ranks and their order.
`arrange` gives it places in whole cells, for boxes as large as a pen draws them. Both know nothing
of SVG or of a terminal; `pneumo.report` and `tui` draw what they say and decide nothing.

Along: the way of the air, from rank to rank. Across: from the first of a rank to its last. A report
has "along" upwards, a terminal to the right.
"""
