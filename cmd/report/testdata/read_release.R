# Reads tables of a release as a researcher would: numbers and booleans by type,
# the words for a missing value as NA, all else as text. Writes the cells back,
# one line a row, cells parted by U+001F, NA as an empty cell.
#
# Rscript read_release.R RELEASE OUT TABLE...
args <- commandArgs(trailingOnly = TRUE)
missing <- c("", "suppressed", "not_asked", "not_possible", "declined", "stopped_early")
for (table in args[-(1:2)]) {
  d <- read.csv(file.path(args[1], "data", paste0(table, ".csv")), na.strings = missing, check.names = FALSE,
                colClasses = c(episode = "character"))
  # A state column says in words why there is no number, so its words are data.
  text <- read.csv(file.path(args[1], "data", paste0(table, ".csv")), na.strings = character(0), check.names = FALSE, colClasses = "character")
  stopifnot(nrow(d) == nrow(text))
  cells <- lapply(names(d), function(n) {
    x <- if (grepl("_state$", n)) text[[n]] else d[[n]]
    if (is.logical(x)) {
      out <- tolower(as.character(x))
    } else if (is.numeric(x)) {
      out <- vapply(x, function(v) format(v, digits = 15, scientific = FALSE, trim = TRUE), "")
    } else {
      out <- as.character(x)
    }
    out[is.na(x)] <- ""
    out
  })
  con <- file(file.path(args[2], paste0(table, ".txt")), "wb")
  writeLines(c(paste(names(d), collapse = "\x1f"), do.call(paste, c(cells, sep = "\x1f"))), con, useBytes = TRUE)
  close(con)
}
