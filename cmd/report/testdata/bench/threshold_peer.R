# The peer of BenchmarkThreshold: the area under the ROC curve with DeLong's variance by
# pROC, the threshold of the greatest Youden index and its bootstrap by cutpointr, from a
# CSV of value and need (1 or 0).
#
#     threshold_peer.R CSV RUNS
#
# RUNS is how many resamples are drawn. What each step took, by the processor and by the
# clock, goes to standard output with the figures; loading the packages is not counted.
suppressMessages({
  library(pROC)
  library(cutpointr)
})
arguments <- commandArgs(trailingOnly = TRUE)
runs <- as.integer(arguments[2])

say <- function(name, ...) cat(name, formatC(c(...), digits = 17, format = "g"), "\n")
timed <- function(step, work) {
  gc()
  spent <- system.time(result <- work())
  say(paste0("spent.", step), spent[["user.self"]] + spent[["sys.self"]], spent[["elapsed"]])
  result
}

# data.table reads fastest; base R serves where it is missing.
fast <- requireNamespace("data.table", quietly = TRUE)
calls <- timed("read", function() {
  if (fast) data.table::fread(arguments[1], nThread = 2, data.table = FALSE)
  else read.csv(arguments[1], colClasses = c("integer", "integer"))
})
say("rows", nrow(calls))
say("sums", sum(as.numeric(calls$value)), sum(calls$need))

area <- timed("area", function() {
  curve <- pROC::roc(calls$need, calls$value, levels = c(0, 1), direction = "<", quiet = TRUE)
  list(curve = curve, limits = as.numeric(pROC::ci.auc(curve, method = "delong")))
})
say("area", as.numeric(pROC::auc(area$curve)))
say("limits", area$limits[1], area$limits[3])
say("variance", pROC::var(area$curve, method = "delong")) # the interval has it already, so it is not timed

choose <- function(boot) {
  suppressMessages(cutpointr(data = calls, x = value, class = need, pos_class = 1, neg_class = 0, direction = ">=",
    method = maximize_metric, metric = youden, boot_runs = boot, break_ties = min, tol_metric = 1e-12, silent = TRUE))
}
once <- timed("choice", function() choose(0))
say("threshold", once$optimal_cutpoint)
say("youden", once$youden)
set.seed(1)
drawn <- timed("bootstrap", function() choose(runs))
stopifnot(nrow(drawn$boot[[1]]) == runs)
cat("versions", as.character(getRversion()), as.character(packageVersion("pROC")), as.character(packageVersion("cutpointr")), "\n")
