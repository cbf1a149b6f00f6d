# The tasks of statistics.sh by packages of R: Rscript statistics.R TASK FILE.
# Prints CPU seconds, wall seconds and the peak of resident memory of the task
# alone; the table has been read before, which is not counted.
a <- commandArgs(TRUE); task <- a[1]
suppressMessages(d <- as.data.frame(data.table::fread(a[2])))
predictors <- c("sex", "height", "bmi", "hr", "map", "smoker", "diabetes", "glucose", "ldl", "egfr", "med")
linear <- reformulate(c("age", "I(age^2)", predictors), "cpp")
spline <- reformulate(c("splines::ns(age, 5)", predictors), "cpp")
complete <- c("age", "sex", "height", "bmi_m", "hr", "map", "smoker", "diabetes", "glucose_m", "ldl_m", "egfr_m", "med", "cpp")
used <- switch(sub("_.*", "", task), hc3 = , median = c("cpp", "age", predictors), impute = , percentiles = c(complete, "stratum"), c("age", "sex", "cpp"))
d <- d[, used]

# Order-statistic ranks of a 95 % interval, equal-tailed.
ranks <- function(n, p) c(qbinom(.025, n, p), qbinom(.975, n, p) + 1)
percentiles <- function(d) {
  p <- c(.025, .05, .1, .25, .5, .75, .9, .95, .975)
  lapply(complete[complete != "sex"], function(name) lapply(split(d[[name]], d$stratum), function(x) {
    x <- sort(x[!is.na(x)]); n <- length(x)
    r <- sapply(p, ranks, n = n); r[r < 1 | r > n] <- NA
    list(n = n, mean = mean(x), sd = sd(x), q = quantile(x, p, type = 8), low = x[r[1, ]], high = x[r[2, ]])
  }))
}

imputed <- function(method) {
  i <- mice::mice(d[, complete], m = 5, maxit = 5, method = method, seed = 1, printFlag = FALSE)
  p <- mice::pool(with(i, lm(cpp ~ age + sex + height + bmi_m + hr + map + smoker + diabetes + glucose_m + ldl_m + egfr_m + med)))
  s <- summary(p); c(s$estimate[5], s$std.error[5])
}

# Nine curves of quantile regression on a natural spline with bands by year.
curves <- function(d) lapply(split(d, d$sex), function(s) {
  years <- data.frame(age = seq(20.5, 89.5, 1))
  sapply(c(.03, .05, .1, .25, .5, .75, .9, .95, .97), function(tau) {
    m <- quantreg::rq(cpp ~ splines::ns(age, 5), tau = tau, data = s, method = "fn")
    p <- predict(m, years, interval = "confidence", se = "nid"); p[31, ]
  })
})

median_of <- function(method) {
  m <- quantreg::rq(spline, tau = .5, data = d, method = method)
  summary(m, se = "nid")$coefficients[8, 1:2]
}

work <- switch(task,
  hc3_estimatr = function() { m <- estimatr::lm_robust(linear, d, se_type = "HC3"); c(m$coefficients[5], m$std.error[5]) },
  hc3_sandwich = function() { m <- lm(linear, d); v <- sandwich::vcovHC(m, "HC3"); c(coef(m)[5], sqrt(v[5, 5])) },
  hc3_by_hand = function() { # normal equations on the raw columns: what R can do at most, without its safeguards
    x <- model.matrix(linear, d); i <- chol2inv(chol(crossprod(x))); b <- i %*% crossprod(x, d$cpp)
    e <- d$cpp - x %*% b; h <- rowSums((x %*% i) * x); v <- i %*% crossprod(x * as.vector(e / (1 - h))) %*% i
    c(b[5], sqrt(v[5, 5])) },
  median_fn = function() median_of("fn"),
  median_pfn = function() { set.seed(1); median_of("pfn") },
  impute_mice_pmm = function() imputed("pmm"),
  percentiles_base = function() { r <- percentiles(d); length(r) * length(r[[1]]) },
  quantile_rq = function() { r <- curves(d); r[[1]][1, 5] },
  # s() does not count the constant: the curves have 2, 5 and 3 degrees of freedom
  lms_vgam = function() sapply(split(d, d$sex), function(s) {
    suppressMessages(library(VGAM))
    m <- vgam(cpp ~ s(age, df = c(1, 4, 2)), lms.bcn(zero = NULL), data = s, trace = FALSE)
    predict(m, data.frame(age = 50.5))[2] }),
  stop("no task ", task))

invisible(gc())
try(cat("5", file = "/proc/self/clear_refs"), silent = TRUE)
said <- capture.output(t <- system.time(v <- work()))
peak <- as.numeric(sub("[^0-9]*([0-9]+).*", "\\1", grep("VmHWM", readLines("/proc/self/status"), value = TRUE))) * 1024 / 1e6
cat(sprintf("RESULT %s cpu=%.3f wall=%.3f peak_mb=%.0f data_mb=%.0f info=%s\n", task, sum(t[c(1, 2, 4, 5)]), t[[3]], peak,
  as.numeric(object.size(d)) / 1e6, paste(format(v, digits = 8), collapse = ",")))
