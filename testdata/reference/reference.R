# Answers questions about statistics; see README.md.
if (!requireNamespace("jsonlite", quietly = TRUE) || !requireNamespace("survival", quietly = TRUE)) {
  message("jsonlite or survival is missing")
  quit(status = 3)
}

answers <- list(
  # The level and its variance after n years of the Nile, for each n asked for.
  local_level = function(q) {
    start <- matrix(as.numeric(q$start))
    sapply(q$years, function(n) {
      m <- list(T = matrix(1), Z = 1, h = as.numeric(q$noise), V = matrix(q$step), a = 0, P = start, Pn = start)
      m <- attr(KalmanRun(datasets::Nile[seq_len(n)], m, update = TRUE), "mod")
      c(m$a, m$P)
    }) |> t()
  },
  distributions = function(q) {
    list(
      logistic = plogis(q$x), phi = pnorm(q$x), z90 = qnorm(.95),
      ln_normal = dnorm(q$x, q$mean, sqrt(q$variance), log = TRUE),
      # k refusals in a row, when the rate is Beta(alpha, beta)
      run = beta(q$alpha + q$k, q$beta) / beta(q$alpha, q$beta)
    )
  },
  # Fisher's exact test of each table (in the group: refusing, not; the others), one-sided.
  fisher = function(tables) apply(tables, 1, function(t) fisher.test(matrix(t, 2), alternative = "greater")$p.value),
  # The exact Cochran-Mantel-Haenszel test of several such tables together.
  mantel_haenszel = function(tables) {
    t <- array(t(tables), c(2, 2, nrow(tables)))
    mantelhaen.test(t, alternative = "greater", exact = TRUE)$p.value
  },
  holm = function(p) p.adjust(p, "holm"),
  # The curve of all and its median with interval, and whether the groups differ.
  waiting = function(q) {
    f <- survival::survfit(survival::Surv(q$days, q$came) ~ 1)
    d <- survival::survdiff(survival::Surv(q$days, q$came) ~ q$group)
    m <- summary(f)$table[c("median", "0.95LCL", "0.95UCL")]
    list(
      days = I(f$time), waiting = I(f$surv), low = I(f$lower), high = I(f$upper), median = I(unname(m)),
      chi2 = d$chisq, p = pchisq(d$chisq, length(d$n) - 1, lower.tail = FALSE)
    )
  },
  share = function(q) t(mapply(function(k, n) prop.test(k, n, correct = FALSE)$conf.int, q$k, q$n)),
  # The variance of P(mass < limit) as a weight with this noise moves it, for each mass.
  weight_variances = function(q) {
    mapply(function(mass, sd, noise, limit) {
      before <- sd^2
      after <- before * noise^2 / (before + noise^2)
      p <- function(z) pnorm((limit - mass - sqrt(before - after) * z) / sqrt(after))
      over <- function(f) integrate(function(z) f(z) * dnorm(z), -9, 9, rel.tol = 1e-9, subdivisions = 2000)$value
      over(function(z) p(z)^2) - over(p)^2
    }, q$mass, q$sd, q$noise, q$limit)
  },
  # How well scores p tell what happened, y, and the line that puts them right.
  judgement = function(q) {
    w <- suppressWarnings(wilcox.test(q$p[q$y], q$p[!q$y])$statistic)
    line <- glm(q$y ~ qlogis(q$p), family = binomial, control = list(epsilon = 1e-14, maxit = 100))
    # Average precision, one threshold after the other: no ties treated apart.
    steps <- sort(unique(q$p), decreasing = TRUE)
    precision <- sapply(steps, function(s) mean(q$y[q$p >= s]))
    recall <- sapply(steps, function(s) sum(q$y[q$p >= s]) / sum(q$y))
    list(
      auroc = unname(w) / (sum(q$y) * sum(!q$y)), brier = mean((q$p - q$y)^2),
      auprc = sum(diff(c(0, recall)) * precision), line = unname(coef(line))
    )
  },
  # What a refusal and what a meal adds to the log-likelihood ratio of p1 to p0.
  bernoulli_ratio = function(q) {
    c(
      dbinom(1, 1, q$p1, log = TRUE) - dbinom(1, 1, q$p0, log = TRUE),
      dbinom(0, 1, q$p1, log = TRUE) - dbinom(0, 1, q$p0, log = TRUE)
    )
  }
)

asked <- jsonlite::fromJSON(file("stdin"))
told <- mapply(function(name, q) answers[[name]](q), names(asked), asked, SIMPLIFY = FALSE)
cat(jsonlite::toJSON(told, digits = NA, auto_unbox = TRUE))
