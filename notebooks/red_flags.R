# Naive accuracy of every red flag, recomputed in base R.
#
# Reads the table that `report flags --format csv` writes, takes the four counts
# of each flag among verified episodes, and recomputes sensitivity, specificity
# and predictive values with Wilson's limits (prop.test without correction).
# Stops if a figure differs from the one in the table.
#
# Naive means: among the episodes whose outcome became known. Vets mostly see
# animals that were sent in, so these figures mislead; the corrected ones stand
# beside them in the same table.

args <- commandArgs(trailingOnly = TRUE)
if (length(args) != 1) stop("usage: Rscript red_flags.R flags.csv", call. = FALSE)
all <- read.csv(args[1], colClasses = "character")
flags <- all[all$section == "flag", ]
flags$key <- paste(flags$cut, flags$subject, flags$stratum)

count <- function(key, name) {
  as.numeric(flags$estimate[flags$key == key & flags$kind == "count" & flags$figure == name])
}
ours <- function(key, figure) {
  flags[flags$key == key & flags$kind == "naive" & flags$figure == figure, ]
}

compared <- 0
shown <- NULL
for (key in unique(flags$key)) {
  tp <- count(key, "tp"); fp <- count(key, "fp"); fn <- count(key, "fn"); tn <- count(key, "tn")
  pairs <- list(sensitivity = c(tp, tp + fn), specificity = c(tn, tn + fp), ppv = c(tp, tp + fp), npv = c(tn, tn + fn))
  for (figure in names(pairs)) {
    x <- pairs[[figure]][1]; n <- pairs[[figure]][2]
    row <- ours(key, figure)
    if (n == 0) {
      if (row$estimate != "") stop(key, ": ", figure, " has no denominator and yet a value")
      next
    }
    limits <- suppressWarnings(prop.test(x, n, correct = FALSE)$conf.int)
    got <- as.numeric(c(row$estimate, row$low, row$high))
    if (max(abs(got - c(x / n, limits))) > 1e-9) stop(key, ": ", figure, " differs")
    compared <- compared + 1
  }
  if (tp + fn > 0) shown <- rbind(shown, data.frame(flag = key, needed = tp + fn, sensitivity = round(100 * tp / (tp + fn), 1)))
}
if (compared == 0) stop("the table holds no flag to compare")
print(shown[order(-shown$needed), ], row.names = FALSE)
cat("compared", compared, "figures; all agree to 1e-9\n")
