// Package figure draws the few figures of the pages as SVG that reads aloud,
// prints and follows the page's style: each has a role, a title and a
// description, colours are classes of the page's style sheet, and text is text
// in the page's own fonts. Positions are measured in Liberation Sans, whose
// widths Arial shares.
//
// Lines, axes and labels come from gonum/plot; Canvas is the drawing surface
// below it. Forest plots are not one figure but a small cell in every row of a
// table, on one axis, so that they break over pages and read aloud with their
// row (cells.go). Nothing here computes a statistic. Start reading at Trend and
// Forest.
package figure
