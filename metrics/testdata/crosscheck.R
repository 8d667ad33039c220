# Second opinion for package metrics: reads small tables from standard input,
# computes with base R and prints what crosscheck_test.go compares.
#
# Input, one line a task:   id <TAB> kind <TAB> numbers | numbers | ...
# Output, one line a value: id <TAB> key <TAB> value
#
# Only packages that come with r-base-core are used (stats). Where base R has a
# function it is called; elsewhere the defining equation is solved by brute force
# (likelihoods maximised numerically, pairs counted one by one, variances by
# numerical derivatives), never by the closed form that the Go code uses.

options(warn = -1)
z95 <- qnorm(0.975)
tight <- glm.control(epsilon = 1e-14, maxit = 200)
top <- function(f, from, to) optimize(f, c(from, to), maximum = TRUE, tol = 1e-12)$maximum
root <- function(f, from, to) uniroot(f, c(from, to), tol = 1e-13)$root

# Standard error of a smooth function of multinomial counts by the delta method.
delta_se <- function(f, counts) {
  n <- sum(counts)
  p <- counts / n
  g <- vapply(seq_along(p), function(i) {
    h <- 1e-6
    up <- down <- p
    up[i] <- p[i] + h
    down[i] <- p[i] - h
    (f(up) - f(down)) / (2 * h)
  }, 0)
  sqrt((sum(p * g^2) - sum(p * g)^2) / n)
}

tasks <- list()

# ---- one and two proportions ---------------------------------------------------

tasks$proportion <- function(v) {
  x <- v[[1]][1]; n <- v[[1]][2]
  w <- prop.test(x, n, correct = FALSE)$conf.int
  e <- binom.test(x, n)$conf.int
  # Agresti-Coull is Wald's interval around Wilson's midpoint.
  mid <- (x + z95^2 / 2) / (n + z95^2)
  upper <- function(p) pbinom(x - 1, n, p, lower.tail = FALSE) - dbinom(x, n, p) / 2
  lower <- function(p) pbinom(x, n, p) - dbinom(x, n, p) / 2
  list(wilson.low = w[1], wilson.high = w[2], exact.low = e[1], exact.high = e[2],
       jeffreys.low = if (x == 0) 0 else qbeta(0.025, x + 0.5, n - x + 0.5),
       jeffreys.high = if (x == n) 1 else qbeta(0.975, x + 0.5, n - x + 0.5),
       midp.low = if (x == 0) 0 else root(function(p) upper(p) - 0.025, 0, x / n),
       midp.high = if (x == n) 1 else root(function(p) lower(p) - 0.025, x / n, 1),
       ac.low = max(0, mid - z95 * sqrt(mid * (1 - mid) / (n + z95^2))),
       ac.high = min(1, mid + z95 * sqrt(mid * (1 - mid) / (n + z95^2))))
}

# Score limits for a difference: the constrained likelihood is maximised by search.
tasks$difference <- function(v) {
  x1 <- v[[1]][1]; n1 <- v[[1]][2]; x2 <- v[[1]][3]; n2 <- v[[1]][4]
  score <- function(d) {
    ll <- function(p2) dbinom(x1, n1, min(1, max(0, p2 + d)), log = TRUE) + dbinom(x2, n2, p2, log = TRUE)
    p2 <- top(ll, max(0, -d), min(1, 1 - d))
    p1 <- p2 + d
    (x1 / n1 - x2 / n2 - d) / sqrt((p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2) * (n1 + n2) / (n1 + n2 - 1))
  }
  est <- x1 / n1 - x2 / n2
  w1 <- prop.test(x1, n1, correct = FALSE)$conf.int
  w2 <- prop.test(x2, n2, correct = FALSE)$conf.int
  p1 <- x1 / n1; p2 <- x2 / n2
  list(mn.low = root(function(d) score(d) - z95, -0.9999, est), mn.high = root(function(d) score(d) + z95, est, 0.9999),
       newcombe.low = est - sqrt((p1 - w1[1])^2 + (w2[2] - p2)^2), newcombe.high = est + sqrt((w1[2] - p1)^2 + (p2 - w2[1])^2))
}

tasks$shares <- function(v) {
  x <- v[[1]]
  ci <- vapply(x, function(k) prop.test(k, sum(x), conf.level = 1 - 0.05 / length(x), correct = FALSE)$conf.int[1:2], c(0, 0))
  out <- as.list(c(ci[1, ], ci[2, ]))
  names(out) <- c(paste0("low", seq_along(x)), paste0("high", seq_along(x)))
  out
}

# target, n, probability
tasks$funnel <- function(v) {
  p0 <- v[[1]][1]; n <- v[[1]][2]; prob <- v[[1]][3]
  r <- qbinom(prob, n, p0)
  list(exact = r / n, between = approx(pbinom(c(r - 1, r), n, p0), c(r - 1, r), prob)$y / n)
}

# expected, floor, n: chance that the lower exact limit lies above the floor
tasks$plan <- function(v) {
  n <- v[[1]][3]
  low <- vapply(0:n, function(x) binom.test(x, n)$conf.int[1], 0)
  list(power = sum(dbinom(0:n, n, v[[1]][1])[low > v[[1]][2]]))
}

# x, n, sensitivity, specificity: the prevalence that makes x the expected count
tasks$prevalence <- function(v) {
  x <- v[[1]][1]; n <- v[[1]][2]; se <- v[[1]][3]; sp <- v[[1]][4]
  shown <- function(p) p * se + (1 - p) * (1 - sp)
  list(true = root(function(p) shown(p) - x / n, -1, 2))
}

# ---- two-by-two tables: TP FP FN TN --------------------------------------------

tasks$table <- function(v) {
  tp <- v[[1]][1]; fp <- v[[1]][2]; fn <- v[[1]][3]; tn <- v[[1]][4]
  d <- data.frame(mark = c(1, 0), need = c(tp, fn), not = c(fp, tn))
  or <- summary(glm(cbind(need, not) ~ mark, binomial, d, control = tight))$coefficients
  # Likelihood ratios are risk ratios of being marked; saturated log-binomial fits.
  g <- data.frame(need = c(1, 0), yes = c(tp, fp), no = c(fn, tn))
  rr <- function(f, start) summary(glm(f, binomial(log), g, start = start, control = tight))$coefficients[2, 1:2]
  pos <- rr(cbind(yes, no) ~ need, c(log(fp / (fp + tn)), log(tp / (tp + fn)) - log(fp / (fp + tn))))
  neg <- rr(cbind(no, yes) ~ need, c(log(tn / (fp + tn)), log(fn / (tp + fn)) - log(tn / (fp + tn))))
  r1 <- tp + fp; r2 <- fn + tn; k <- tp + fn
  least <- min(vapply(max(0, k - r2):min(k, r1), function(a) fisher.test(matrix(c(a, k - a, r1 - a, r2 - k + a), 2))$p.value, 0))
  list(dor = exp(or[2, 1]), dor.low = exp(or[2, 1] - z95 * or[2, 2]), dor.high = exp(or[2, 1] + z95 * or[2, 2]),
       lrp.low = exp(pos[1] - z95 * pos[2]), lrp.high = exp(pos[1] + z95 * pos[2]),
       lrn.low = exp(neg[1] - z95 * neg[2]), lrn.high = exp(neg[1] + z95 * neg[2]), fisher.least = least)
}

tasks$strata <- function(v) {
  a <- array(unlist(lapply(v, function(t) c(t[1], t[3], t[2], t[4]))), c(2, 2, length(v)))
  m <- mantelhaen.test(a, correct = FALSE)
  list(or = unname(m$estimate), or.low = m$conf.int[1], or.high = m$conf.int[2], chisq = unname(m$statistic), p = m$p.value)
}

# Verified needed, verified not, unverified with the mark; then without. Point
# estimates by a saturated model of need fitted to the verified and applied to all.
tasks$verification <- function(v) {
  x <- do.call(rbind, lapply(seq_along(v), function(s) data.frame(stratum = s, mark = c(1, 0), need = v[[s]][c(1, 4)], not = v[[s]][c(2, 5)], unseen = v[[s]][c(3, 6)])))
  x$cell <- factor(paste(x$stratum, x$mark))
  p <- fitted(glm(cbind(need, not) ~ cell - 1, binomial, x, control = tight))
  n <- x$need + x$not + x$unseen
  sens <- function(p, n) sum((n * p)[x$mark == 1]) / sum(n * p)
  spec <- function(p, n) sum((n * (1 - p))[x$mark == 0]) / sum(n * (1 - p))
  # Standard errors by numerical derivatives over all cells of the full table.
  all <- c(x$need, x$not, x$unseen); k <- nrow(x)
  of <- function(f) function(q) {
    need <- q[1:k]; not <- q[k + 1:k]; unseen <- q[2 * k + 1:k]
    f(need / (need + not), need + not + unseen)
  }
  list(sens = sens(p, n), spec = spec(p, n), sens.se = delta_se(of(sens), all), spec.se = delta_se(of(spec), all))
}

# ---- pairs: both, first only, second only, neither -----------------------------

tasks$pairs <- function(v) {
  a <- v[[1]][1]; b <- v[[1]][2]; c <- v[[1]][3]; d <- v[[1]][4]; n <- a + b + c + d
  m <- matrix(c(a, c, b, d), 2)
  plain <- mcnemar.test(m, correct = FALSE)
  corrected <- mcnemar.test(m, correct = TRUE)
  # Tango: the constrained likelihood of both discordant cells by search.
  tango <- function(delta) {
    ll <- function(q) b * log(q + delta) + c * log(q) + (a + d) * log(1 - 2 * q - delta)
    q <- top(ll, max(0, -delta) + 1e-13, (1 - delta) / 2 - 1e-13)
    (b - c - n * delta) / sqrt(n * (2 * q + delta * (1 - delta)))
  }
  est <- (b - c) / n
  ratio <- function(p) log((p[1] + p[2]) / (p[1] + p[3]))
  se <- delta_se(ratio, c(a, b, c, d))
  list(stat = unname(plain$statistic), p = plain$p.value, stat.corrected = unname(corrected$statistic), p.corrected = corrected$p.value,
       p.exact = binom.test(b, b + c)$p.value, p.mid = if (b == c) 1 - dbinom(b, b + c, 0.5) / 2 else 2 * pbinom(min(b, c), b + c, 0.5) - dbinom(b, b + c, 0.5),
       tango.low = root(function(x) tango(x) - z95, -0.99, est), tango.high = root(function(x) tango(x) + z95, est, 0.99),
       ratio.low = exp(ratio(c(a, b, c, d)) - z95 * se), ratio.high = exp(ratio(c(a, b, c, d)) + z95 * se))
}

# ---- values of a finding: values | needed | not needed -------------------------

tasks$values <- function(v) {
  x <- rep(v[[1]], v[[2]]); y <- rep(v[[1]], v[[3]])
  w <- wilcox.test(x, y, exact = FALSE, correct = FALSE)
  psi <- outer(x, y, function(a, b) (a > b) + (a == b) / 2)
  list(auc = unname(w$statistic) / (length(x) * length(y)), p = w$p.value,
       delong.var = var(rowMeans(psi)) / length(x) + var(colMeans(psi)) / length(y))
}

# ---- square tables, row by row ---------------------------------------------------

tasks$square <- function(v) {
  m <- do.call(rbind, v); k <- nrow(m); n <- sum(m)
  b <- mcnemar.test(m)
  long <- as.data.frame(as.table(unname(m)))
  i <- rep(as.integer(long$Var1), long$Freq); j <- rep(as.integer(long$Var2), long$Freq)
  kappa <- function(w) function(p) {
    p <- matrix(p, k)
    po <- sum(w * p); pe <- sum(w * outer(rowSums(p), colSums(p)))
    # The expected part scales with the square of the total.
    (po * sum(p) - pe) / (sum(p)^2 - pe)
  }
  pairs <- function(p) {
    p <- matrix(p, k); same <- 0; against <- 0
    for (r in 1:k) for (s in 1:k) {
      same <- same + p[r, s] * sum(p[row(p) > r & col(p) > s])
      against <- against + p[r, s] * sum(p[row(p) > r & col(p) < s])
    }
    c(same, against)
  }
  gamma <- function(p) { q <- pairs(p); (q[1] - q[2]) / sum(q) }
  one <- diag(k); quad <- 1 - outer(1:k, 1:k, "-")^2 / (k - 1)^2
  d <- (rowSums(m) - colSums(m))[-k]
  s <- (diag(rowSums(m) + colSums(m)) - m - t(m))[-k, -k]
  list(bowker = unname(b$statistic), bowker.p = b$p.value, tau = cor(i, j, method = "kendall"),
       stuart = drop(d %*% solve(s, d)), gamma = gamma(m), gamma.se = delta_se(gamma, c(m)),
       kappa = kappa(one)(m / n), kappa.se = delta_se(kappa(one), c(m)), quadratic = kappa(quad)(m / n), quadratic.se = delta_se(kappa(quad), c(m)))
}

tasks$trend <- function(v) {
  t <- prop.trend.test(v[[2]], v[[1]])
  list(chisq = unname(t$statistic), p = t$p.value)
}

# ---- numbers read twice: first | second; ratings by animal ----------------------

tasks$readings <- function(v) {
  d <- v[[1]] - v[[2]]
  t <- t.test(v[[1]], v[[2]], paired = TRUE)
  slope <- lm(d ~ I((v[[1]] + v[[2]]) / 2))
  list(bias.low = t$conf.int[1], bias.high = t$conf.int[2], sd = sd(d), slope = unname(coef(slope)[2]),
       slope.low = confint(slope)[2, 1], slope.high = confint(slope)[2, 2])
}

tasks$ratings <- function(v) {
  y <- unlist(v); k <- length(v[[1]])
  animal <- factor(rep(seq_along(v), each = k)); reader <- factor(rep(seq_len(k), length(v)))
  one <- anova(lm(y ~ animal))[["Mean Sq"]]; two <- anova(lm(y ~ animal + reader))[["Mean Sq"]]
  n <- length(v)
  list(icc11 = (one[1] - one[2]) / (one[1] + (k - 1) * one[2]),
       icc21 = (two[1] - two[3]) / (two[1] + (k - 1) * two[3] + k * (two[2] - two[3]) / n),
       icc31 = (two[1] - two[3]) / (two[1] + (k - 1) * two[3]))
}

# ---- many comparisons -----------------------------------------------------------

tasks$padjust <- function(v) {
  out <- list()
  for (m in c("bonferroni", "holm", "hochberg", "BH", "BY")) for (i in seq_along(v[[1]])) out[[paste0(m, i)]] <- p.adjust(v[[1]], m)[i]
  out
}

# ---- logistic models: covariates, successes, trials in rows ----------------------

logit_data <- function(v) {
  m <- do.call(rbind, v); k <- ncol(m) - 2
  list(x = cbind(1, m[, seq_len(k), drop = FALSE]), s = m[, k + 1], n = m[, k + 2])
}

tasks$logistic <- function(v) {
  d <- logit_data(v); last <- ncol(d$x)
  y <- d$s / d$n
  fit <- glm.fit(d$x, y, d$n, family = binomial(), control = tight)
  se <- sqrt(diag(chol2inv(qr.R(fit$qr))))
  ll <- function(f) sum(d$s * log(f$fitted.values) + (d$n - d$s) * log(1 - f$fitted.values))
  held <- function(b) ll(glm.fit(d$x[, -last, drop = FALSE], y, d$n, offset = d$x[, last] * b, family = binomial(), control = tight))
  full <- ll(fit)
  fall <- function(b) 2 * (full - held(b)) - qchisq(0.95, 1)
  b <- coef(fit)[last]
  out <- list(loglik = full, profile.low = root(fall, b - 8 * se[last], b), profile.high = root(fall, b, b + 8 * se[last]),
              lr.p = pchisq(2 * (full - held(0)), 1, lower.tail = FALSE), predicted = mean(fit$fitted.values))
  for (i in seq_along(se)) { out[[paste0("coef", i)]] <- unname(coef(fit)[i]); out[[paste0("se", i)]] <- se[i] }
  out
}

# Firth's form by maximising the penalised likelihood as such.
tasks$firth <- function(v) {
  d <- logit_data(v)
  pen <- function(b) {
    p <- plogis(drop(d$x %*% b))
    -sum(d$s * log(p) + (d$n - d$s) * log(1 - p)) - determinant(crossprod(d$x * sqrt(d$n * p * (1 - p))))$modulus / 2
  }
  o <- list(par = rep(0, ncol(d$x)))
  for (i in 1:4) o <- optim(o$par, pen, method = if (i %% 2) "Nelder-Mead" else "BFGS", control = list(reltol = 1e-15, maxit = 5000))
  out <- list(loglik = -as.numeric(o$value))
  for (i in seq_along(o$par)) out[[paste0("coef", i)]] <- o$par[i]
  out
}

# predicted | successes | trials
tasks$calibration <- function(v) {
  p <- rep(v[[1]], v[[3]]); y <- unlist(mapply(function(s, n) rep(c(1, 0), c(s, n - s)), v[[2]], v[[3]], SIMPLIFY = FALSE))
  l <- qlogis(p)
  a <- summary(glm(y ~ offset(l), binomial, control = tight))$coefficients
  b <- summary(glm(y ~ l, binomial, control = tight))$coefficients
  g <- cut(p, unique(quantile(p, (0:5) / 5)), include.lowest = TRUE)
  o <- tapply(y, g, sum); e <- tapply(p, g, sum); n <- tapply(p, g, length)
  list(intercept = a[1, 1], intercept.se = a[1, 2], slope = b[2, 1], slope.se = b[2, 2], brier = mean((y - p)^2),
       logloss = -mean(ifelse(y == 1, log(p), log(1 - p))), groups = length(n), chisq = sum((o - e)^2 / (e * (1 - e / n))))
}

# Cluster-robust errors by summing single calls' scores. cluster, x, s, n in rows.
tasks$clusters <- function(v) {
  m <- do.call(rbind, v); id <- rep(m[, 1], m[, 4]); x <- cbind(1, rep(m[, 2], m[, 4]))
  y <- unlist(mapply(function(s, n) rep(c(1, 0), c(s, n - s)), m[, 3], m[, 4], SIMPLIFY = FALSE))
  fit <- glm.fit(x, y, family = binomial(), control = tight)
  bread <- chol2inv(qr.R(fit$qr)); u <- rowsum(x * (y - fit$fitted.values), id)
  k <- nrow(u); se <- sqrt(diag(bread %*% crossprod(u) %*% bread) * k / (k - 1))
  list(se1 = se[1], se2 = se[2])
}

# ---- shrinkage and pooling --------------------------------------------------------

tasks$betabinomial <- function(v) {
  s <- v[[1]]; n <- v[[2]]
  f <- function(x) -sum(lchoose(n, s) + lbeta(exp(x[1]) + s, exp(x[2]) + n - s) - lbeta(exp(x[1]), exp(x[2])))
  o <- list(par = c(0, 0))
  for (i in 1:4) o <- optim(o$par, f, method = if (i %% 2) "Nelder-Mead" else "BFGS", control = list(reltol = 1e-15, maxit = 5000))
  a <- exp(o$par)
  list(mean = a[1] / sum(a), rho = 1 / (1 + sum(a)), loglik = -o$value,
       first = (a[1] + s[1]) / (sum(a) + n[1]), first.low = qbeta(0.025, a[1] + s[1], a[2] + n[1] - s[1]))
}

# values | variances
tasks$pool <- function(v) {
  y <- v[[1]]; s2 <- v[[2]]; k <- length(y)
  common <- lm(y ~ 1, weights = 1 / s2)
  q <- deviance(common)
  # Moments: the tau2 at which Q has its expectation, found by search on simulated
  # algebra: E(Q) is linear in tau2, so two points of it give the line.
  w <- 1 / s2
  eq <- function(t) { m <- diag(w) - tcrossprod(w) / sum(w); sum(diag(m %*% diag(s2 + t))) }
  dl <- max(0, (q - eq(0)) / (eq(1) - eq(0)))
  restricted <- function(t) {
    w <- 1 / (s2 + t); mu <- sum(w * y) / sum(w)
    sum(dnorm(y, mu, sqrt(s2 + t), log = TRUE)) - log(sum(w)) / 2
  }
  grid <- c(0, exp(seq(-16, 4, 0.02))); at <- which.max(vapply(grid, restricted, 0))
  reml <- if (at == 1) 0 else top(restricted, grid[at - 1], grid[min(at + 1, length(grid))])
  fit <- lm(y ~ 1, weights = 1 / (s2 + dl)) # its t-interval is Knapp and Hartung's
  list(fixed = unname(coef(common)), fixed.se = 1 / sqrt(sum(w)), q = q, dl.tau2 = dl, dl = unname(coef(fit)),
       dl.kh.low = confint(fit)[1], dl.kh.high = confint(fit)[2], reml.loglik = restricted(reml), reml = sum(y / (s2 + reml)) / sum(1 / (s2 + reml)))
}

tasks$deeks <- function(v) {
  t <- do.call(rbind, v); h <- t + 0.5
  y <- log(h[, 1] * h[, 4] / (h[, 2] * h[, 3]))
  pos <- t[, 1] + t[, 3]; neg <- t[, 2] + t[, 4]; ess <- 4 * pos * neg / (pos + neg)
  s <- summary(lm(y ~ I(1 / sqrt(ess)), weights = ess))$coefficients
  list(slope = s[2, 1], se = s[2, 2], p = s[2, 4])
}

tasks$binomialnormal <- function(v) {
  s <- v[[1]]; n <- v[[2]]
  f <- function(x) -sum(mapply(function(s, n) {
    g <- function(b) { e <- x[1] + exp(x[2]) * b; s * e - n * log1p(exp(e)) + dnorm(b, log = TRUE) }
    at <- top(g, -10, 10); h <- g(at)
    log(integrate(function(b) exp(g(b) - h), at - 10, at + 10, rel.tol = 1e-10, subdivisions = 1000)$value) + h
  }, s, n))
  o <- list(par = c(qlogis(sum(s) / sum(n)), -0.5))
  for (i in 1:2) o <- optim(o$par, f, method = if (i %% 2) "Nelder-Mead" else "BFGS", control = list(reltol = 1e-13, maxit = 2000))
  list(logit = o$par[1], loglik = -o$value)
}

# ---- run all tasks -----------------------------------------------------------------

for (line in readLines(file("stdin"))) {
  part <- strsplit(line, "\t", fixed = TRUE)[[1]]
  v <- lapply(strsplit(part[3], "|", fixed = TRUE)[[1]], function(s) as.numeric(strsplit(trimws(s), " +")[[1]]))
  res <- tasks[[part[2]]](v)
  for (key in names(res)) cat(part[1], "\t", key, "\t", sprintf("%.15g", res[[key]]), "\n", sep = "")
}
