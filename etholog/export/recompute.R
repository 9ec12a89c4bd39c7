# Recompute the comparison of males from the exported table alone, with R's own survival package.
#
#   Rscript recompute.R
#
# It prints each figure beside etholog's, and ends with 1 where one differs: figures by more than their last digits, the
# p by more than four times the error of both shufflings.

library(survival)

here <- dirname(sub("^--file=", "", grep("^--file=", commandArgs(FALSE), value = TRUE)[1]))
told <- read.csv(file.path(here, "expected.csv"), fileEncoding = "UTF-8-BOM", check.names = FALSE)
asked <- function(quantity) told$value[told$quantity == quantity]
interval <- told$group[told$quantity == "interval"]
within <- told$group[told$quantity == "within"]
variance <- told$group[told$quantity == "variance"]
horizon <- asked("horizon_s")

times <- read.csv(file.path(here, "..", "latencies.csv"), fileEncoding = "UTF-8-BOM", na.strings = "")
times <- times[times$interval == interval & !is.na(times$male), ]
stratum <- if (within == "female") times$female else rep("all", nrow(times))
# Who is not known is a stratum alone.
stratum[is.na(stratum)] <- paste("unknown", seq_len(sum(is.na(stratum))))
males <- sort(unique(times$male), method = "radix")

found <- data.frame(quantity = character(), group = character(), R = numeric())
add <- function(quantity, group, value) {
  found[nrow(found) + 1, ] <<- list(quantity, group, as.numeric(value))
}

# The Kaplan-Meier median with log-log limits, and the mean within the time to which every curve is known.
for (male in males) {
  own <- times[times$male == male, ]
  fit <- survfit(Surv(latency_s, occurred) ~ 1, data = own, conf.type = "log-log")
  told_by_R <- summary(fit, rmean = max(horizon, min(own$latency_s)))$table
  add("n", male, nrow(own))
  add("occurred", male, sum(own$occurred))
  add("median_s", male, told_by_R[["median"]])
  add("median_low_s", male, told_by_R[["0.95LCL"]])
  add("median_high_s", male, told_by_R[["0.95UCL"]])
  # R has no mean within a time in which nothing ended yet: all of it was spent waiting.
  mean_s <- told_by_R[[grep("^\\*?rmean$", names(told_by_R))]]
  add("mean_s", male, if (horizon < min(own$latency_s)) horizon else mean_s)
}

# The log-rank test within strata: chi-squared by elimination, as groups that never meet take no part.
log_rank <- function(male, stratum) {
  k <- length(males)
  u <- numeric(k)
  v <- matrix(0, k, k)
  for (one in unique(stratum)) {
    inside <- which(stratum == one)
    at <- unique(times$latency_s[inside][times$occurred[inside]])
    for (t in at) {
      risk <- inside[times$latency_s[inside] >= t]
      n <- length(risk)
      ended <- risk[times$latency_s[risk] == t & times$occurred[risk]]
      d <- length(ended)
      each <- tabulate(match(male[risk], males), k)
      u <- u + tabulate(match(male[ended], males), k) - d * each / n
      if (n > 1) v <- v + d * (n - d) / (n - 1) * (diag(each / n, k) - outer(each / n, each / n))
    }
  }
  left <- u[-k]
  rest <- v[-k, -k, drop = FALSE]
  total <- 0
  df <- 0
  for (j in seq_len(k - 1)) {
    if (rest[j, j] > 1e-8) {
      total <- total + left[j]^2 / rest[j, j]
      df <- df + 1
      column <- rest[, j] / rest[j, j]
      left <- left - column * left[j]
      rest <- rest - outer(column, rest[j, ])
    }
  }
  list(u = u, v = v, chi_squared = total, df = df, squares = sum(u^2))
}

compared <- "chi_squared" %in% told$quantity
if (compared) {
  observed <- log_rank(times$male, stratum)
  add("chi_squared", "", observed$chi_squared)
  add("df", "", observed$df)
}

# R's own test has the same sums and the same variance, without strata, and within them where it can solve that.
agrees <- function(model, ours) {
  theirs <- tryCatch(survdiff(model, data = cbind(times, stratum = stratum)), error = function(e) NULL)
  if (is.null(theirs)) return(invisible())
  stopifnot(all.equal(as.numeric(rowSums(as.matrix(theirs$obs - theirs$exp))), ours$u, tolerance = 1e-8))
  stopifnot(all.equal(matrix(theirs$var, length(males)), ours$v, tolerance = 1e-8))
}
if (compared) agrees(Surv(latency_s, occurred) ~ male, log_rank(times$male, rep("all", nrow(times))))
if (compared && within == "female") agrees(Surv(latency_s, occurred) ~ male + strata(stratum), observed)

# No p is told where so few could give none of .05; then there is none to recompute.
shuffles <- 2000
p <- NA
if ("p" %in% told$quantity) {
  # Where one variance serves for all labellings: that of the scores (Peto & Peto 1972) when they change places.
  score <- numeric(nrow(times))
  spread <- matrix(0, length(males), length(males))
  for (one in unique(stratum)) {
    inside <- which(stratum == one)
    hazard <- function(time) {
      at <- unique(times$latency_s[inside][times$occurred[inside] & times$latency_s[inside] <= time])
      sum(vapply(at, function(t) {
        sum(times$occurred[inside] & times$latency_s[inside] == t) / sum(times$latency_s[inside] >= t)
      }, 0))
    }
    score[inside] <- times$occurred[inside] - vapply(times$latency_s[inside], hazard, 0)
    each <- tabulate(match(times$male[inside], males), length(males))
    n <- length(inside)
    if (n > 1) spread <- spread + var(score[inside]) * (diag(each, length(males)) - outer(each, each) / n)
  }
  parts <- eigen(spread, symmetric = TRUE)
  varies <- parts$values > 1e-10 * max(parts$values)
  axes <- parts$vectors[, varies, drop = FALSE] %*% diag(1 / sqrt(parts$values[varies]), sum(varies))
  one_variance <- function(male) {
    sums <- vapply(males, function(one) sum(score[male == one]), 0)
    sum(drop(sums %*% axes)^2)
  }
  statistics <- function(male) {
    if (variance == "one") return(rep(one_variance(male), 2))
    this <- log_rank(male, stratum)
    c(this$chi_squared, this$squares)
  }

  # Males change places within strata; with more than two males each labelling counts by the smaller of its two ranks.
  set.seed(1)
  values <- rbind(statistics(times$male), t(replicate(shuffles, {
    moved <- times$male
    for (one in unique(stratum)) {
      inside <- which(stratum == one)
      moved[inside] <- moved[inside][sample.int(length(inside))]
    }
    statistics(moved)
  })))
  tail_of <- function(x) sapply(x, function(one) mean(x >= one - 1e-6 * max(1e-4, abs(one))))
  ranks <- tail_of(values[, 1])
  p <- if (length(males) == 2) ranks[1] else {
    least <- pmin(ranks, tail_of(values[, 2]))
    mean(least <= least[1] + 1e-12)
  }
  add("p", "", p)
}

both <- merge(told[, c("quantity", "group", "value")], found, by = c("quantity", "group"), sort = FALSE)
names(both)[3] <- "etholog"
error <- 4 * sqrt(p * (1 - p) / shuffles) + 4 * asked("p_error")
both$same <- ifelse(
  is.na(both$etholog) | is.na(both$R),
  is.na(both$etholog) == is.na(both$R),
  ifelse(both$quantity == "p", abs(both$etholog - both$R) <= error + 0.002,
         abs(both$etholog - both$R) <= 1e-6 * pmax(1, abs(both$etholog)))
)
write.csv(both, row.names = FALSE)
quit(status = as.integer(!all(both$same)))
