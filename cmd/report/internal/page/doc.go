// Package page writes a Review for people and machines: one self-contained
// HTML file, text for a terminal, CSV and JSON. The writers arrange and format;
// they compute nothing.
//
// HTML is made from the JSON, not from the Go value: the templates walk it with
// a Node, and every number they print carries the path of the JSON value it came
// from in a data-json attribute. So the page can hold no number that the JSON
// does not hold, a stored JSON can be rendered later, and a test reads both and
// compares. The frame around the parts (head, style, contents list, print) is
// package sheet's, which also says which classes there are. Start reading at
// HTML and Node.
//
// To add a part to the page:
//
//  1. Put its figures into review.Review, in a file of its own in package review.
//  2. Give it a row in chapters (sections.go): id, heading, entry of the
//     contents list. Its number follows from its place.
//  3. Write sections/ID.html: what stands below the heading, as a template on
//     the whole review. Print numbers with the methods of Node (Int, Pct, Fig,
//     Of, Range, Text, Word, Day); refer to another part with {{part "flags"}};
//     mark a number that is no figure, such as a year of a source, with
//     {{lit "1983"}}. Footnotes print themselves at the end of a part, or where
//     {{template "notes" .}} stands. A part that writes nothing is left out.
//  4. Style that no other part needs goes to sections/ID.css.
//  5. A drawing is made in package figure; the function that hands it the
//     numbers stands in a file here and is made known with register.
//  6. The tests of this package then tie its numbers, open it in a browser at
//     three widths and on paper, and check that it can be used without a mouse.
package page
