// Package sheet is the shell of every page that report writes: head, style,
// contents list, cautions, foot, and how it prints. The monthly review, the
// dossier of a rule change and a codebook fill the same frame, so they look,
// sort, read aloud and print alike.
//
//  1. Fill a Page: title, heading, facts, and a body of your own template.
//     Escape what comes from records: a template.HTML is written as it is.
//  2. Write makes one file that needs nothing else: no network, no font, no
//     script to be read.
//  3. Print turns such a file into PDF with an installed Chromium.
//
// In a body: a heading is h2 (numbered parts), h3 and h4; explanation is
// p.say; a table stands in div.scroll, its counts in td.r, its caption in
// caption; one that sorts is table.sortable with th[data-sortable] and, where
// text would sort wrongly, td[data-sort]; a figure is figure > svg[role=img]
// with title and desc, then figcaption; a box that warns is div.caution, one
// that tells is div.note; what paper leaves out has class screen, what only
// paper shows class paper, what must not break over pages class keep. The
// style is in style/, one subject a file, with the scale of type at its top.
// Start reading at Page.
package sheet
