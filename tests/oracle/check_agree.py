"""The program's agreement statistics against statsmodels, scikit-learn, pingouin, krippendorff, irrCAC and SciPy on
random data, to 1e-9 or the stated difference of method. Argument: the tool built from tests/agree/agree_tool.c.
Exits 77 (skipped) when a library is not installed."""
import json
import subprocess
import sys
import warnings

try:
    import irrCAC.raw
    import krippendorff
    import numpy as np
    import pandas as pd
    import pingouin
    import scipy.stats as st
    from sklearn import metrics
    from sklearn.calibration import calibration_curve
    from statsmodels.stats import inter_rater
    from statsmodels.stats.proportion import proportion_confint
except ImportError as error:
    print(f"skipped: {error}; ./check installs tests/requirements.txt")
    sys.exit(77)

warnings.filterwarnings("ignore")
rng = np.random.default_rng(20260101)
jobs, checks = [], []
worst = {}


def job(check, **fields):
    jobs.append({k: v.ravel().tolist() if isinstance(v, np.ndarray) else v for k, v in fields.items()})
    checks.append(check)


def t_quantile(p, df):
    """SciPy 1.12's t.ppf is good to about 1e-8 only (its own cdf of it misses p); its F is good to 1e-13."""
    return np.sqrt(st.f.ppf(2 * p - 1, 1, df))


def same(name, ours, theirs, tolerance=1e-9):
    ours = np.array([np.nan if x is None else x for x in np.atleast_1d(ours).tolist()], float)
    theirs = np.atleast_1d(np.asarray(theirs, float))
    if ours.shape != theirs.shape or not (np.isnan(ours) == np.isnan(theirs)).all():
        raise SystemExit(f"{name}: {ours} against {theirs}")
    gap = np.nanmax(np.abs(ours - theirs) / np.maximum(1, np.abs(theirs))) if np.isfinite(theirs).any() else 0.0
    worst[name] = max(worst.get(name, 0.0), gap)
    if gap > tolerance:
        raise SystemExit(f"{name}: differs by {gap:.3g} (allowed {tolerance:.0e}): {ours} against {theirs}")


# --- quantiles: SciPy
p = rng.uniform(0.001, 0.999, 60)
df1, df2 = rng.uniform(1, 200, 60), rng.uniform(1.5, 400, 60)


def check_quantiles(r):
    q = np.array(r["quantiles"])
    same("normal quantile (scipy)", q[:, 0], st.norm.ppf(p))
    same("t quantile (scipy)", st.t.cdf(q[:, 1], df1), p)
    same("t quantile (scipy's inverse, good to 1e-8)", q[:, 1], st.t.ppf(p, df1), 1e-8)
    same("F quantile (scipy)", q[:, 2], st.f.ppf(p, df1, df2))
    same("chi-square quantile (scipy)", q[:, 3], st.chi2.ppf(p, df1))


job(check_quantiles, what="quantiles", p=p, df1=df1, df2=df2)

# --- shares: statsmodels' Wilson; likelihood ratios by the log method written out in NumPy
for _ in range(40):
    t = rng.integers(1, 60, 4)

    def check_shares(r, t=t):
        tp, fp, fn, tn = map(int, t)
        for key, right, n in (("sensitivity", tp, tp + fn), ("specificity", tn, tn + fp), ("ppv", tp, tp + fp),
                              ("npv", tn, tn + fn)):
            same("Wilson interval (statsmodels)", r[key][1:3], proportion_confint(right, n, method="wilson"))
        lr = (tp / (tp + fn)) / (fp / (fp + tn))
        se = np.sqrt(1 / tp - 1 / (tp + fn) + 1 / fp - 1 / (fp + tn))
        z = st.norm.ppf(0.975)
        same("likelihood ratio (NumPy)", r["lr_positive"][:3], lr * np.exp([0, -z * se, z * se]))
        same("likelihood ratio (scikit-learn)", [r["lr_positive"][0], r["lr_negative"][0]],
             metrics.class_likelihood_ratios([1] * (tp + fn) + [0] * (fp + tn),
                                             [1] * tp + [0] * fn + [1] * fp + [0] * tn))

    job(check_shares, what="shares", table=t)

# --- ROC: scikit-learn's area and curve; DeLong's covariance written out as in the paper
for n, step in ((30, 0.1), (120, 0.01), (400, 1e-6)):
    for _ in range(6):
        truth = rng.integers(0, 2, n)
        truth[:4] = 0, 1, 0, 1
        a = np.clip(np.round((rng.normal(0.4 + 0.2 * truth, 0.2)) / step) * step, 0, 1)
        b = np.clip(np.round((0.5 * a + rng.normal(0.2, 0.15, n)) / step) * step, 0, 1)

        def check_roc(r, truth=truth, a=a, b=b, step=step):
            same("ROC area (scikit-learn)", r["area"][0], metrics.roc_auc_score(truth, a))
            fpr, tpr, _ = metrics.roc_curve(truth, a, drop_intermediate=False)
            same("ROC curve (scikit-learn)", r["fpr"] + r["tpr"], np.r_[fpr, tpr])
            v10, v01 = [], []
            for x in (a, b):
                psi = (x[truth == 1][:, None] > x[truth == 0]) + 0.5 * (x[truth == 1][:, None] == x[truth == 0])
                v10.append(psi.mean(1))
                v01.append(psi.mean(0))
            cov = np.cov(v10) / (truth == 1).sum() + np.cov(v01) / (truth == 0).sum()
            same("DeLong standard error (paper's formula)", r["area"][3], np.sqrt(cov[0, 0]))
            diff, se = v10[0].mean() - v10[1].mean(), np.sqrt(cov[0, 0] + cov[1, 1] - 2 * cov[0, 1])
            same("DeLong comparison (paper's formula)", [r["difference"][0], r["difference"][3], r["p"]],
                 [diff, se, 2 * st.norm.sf(abs(diff / se))])
            same("Brier score (scikit-learn)", r["brier"][0], metrics.brier_score_loss(truth, a))
            # scikit-learn's bins are open below and closed above, ours the other way: the same off the borders
            if step == 1e-6:
                observed, mean = calibration_curve(truth, a, n_bins=10)
                same("reliability bins (scikit-learn)", np.array(r["bins"]), np.c_[mean, observed])

        job(check_roc, what="roc", truth=truth, a=a, b=b)

# --- bootstrap: the draws are printed; the areas and percentiles must be scikit-learn's and NumPy's
n, groups = 90, 15
truth, group = rng.integers(0, 2, n), rng.integers(0, groups, n)
a = np.round(rng.normal(truth * 0.5, 0.5), 1)


def check_bootstrap(r):
    areas = [metrics.roc_auc_score(truth, a, sample_weight=np.array(t)[group]) for t in r["times"]]
    same("bootstrap by person (scikit-learn, NumPy)", [r["low"], r["high"]], np.percentile(areas, [2.5, 97.5]))
    counts = np.array(r["times"])
    if abs(counts.mean() - 1) > 1e-12 or abs(counts.var() - (1 - 1 / groups)) > 0.06:
        raise SystemExit(f"bootstrap draws are not multinomial: variance {counts.var()}")


job(check_bootstrap, what="bootstrap", truth=truth, group=group, a=a, groups=groups, draws=400, seed=5)

# --- two readers: statsmodels' kappas and standard errors, scikit-learn's values, irrCAC's AC1 and AC2
for k in (2, 3, 4, 6):
    for _ in range(8):
        x = rng.integers(0, k, 80)
        y = np.where(rng.random(80) < 0.6, x, rng.integers(0, k, 80))
        x[:k] = y[:k] = np.arange(k)  # every class occurs, so that the libraries see the same table
        table = np.zeros((k, k))
        np.add.at(table, (x, y), 1)

        def check_kappa(r, x=x, y=y, k=k, table=table):
            for key, name, sk in (("none", None, None), ("linear", "linear", "linear"),
                                  ("quadratic", "quadratic", "quadratic")):
                sm = inter_rater.cohens_kappa(table, wt=name)
                same("Cohen's kappa (statsmodels)", [r[key][0], r[key][3]], [sm.kappa, sm.std_kappa])
                same("Cohen's kappa under no agreement (statsmodels)", r[key + "_null"],
                     [sm.std_kappa0, sm.z_value, sm.pvalue_two_sided])
                same("Cohen's kappa (scikit-learn)", r[key][0], metrics.cohen_kappa_score(x, y, weights=sk))
            for key, name in (("ac1", "identity"), ("ac2l", "linear"), ("ac2q", "quadratic")):
                cac = irrCAC.raw.CAC(pd.DataFrame({"x": x, "y": y}), weights=name, categories=list(range(k)), digits=12)
                g = cac.gwet()["est"]
                same("Gwet's AC1 and AC2 (irrCAC)", r[key][0], g["coefficient_value"])
                same("Gwet's AC standard error (irrCAC)", r[key][3], g["se"])
                same("Gwet's AC interval (irrCAC)", r[key][1:3], g["confidence_interval"])

        job(check_kappa, what="kappa", k=k, table=table)

# --- several readers
for items, readers, classes in ((25, 3, 2), (40, 5, 4), (60, 8, 5)):
    for _ in range(5):
        base = rng.integers(0, classes, items)
        x = np.where(rng.random((items, readers)) < 0.6, base[:, None], rng.integers(0, classes, (items, readers)))
        counts = np.stack([(x == c).sum(1) for c in range(classes)], 1)
        value = x + 1.0
        value[rng.random(value.shape) < 0.2] = np.nan

        def check_raters(r, x=x, counts=counts, value=value, classes=classes):
            same("Fleiss' kappa (statsmodels)", r["fleiss"][0], inter_rater.fleiss_kappa(counts, method="fleiss"))
            same("free-marginal kappa (statsmodels)", r["free"][0], inter_rater.fleiss_kappa(counts, method="randolph"))
            cac = irrCAC.raw.CAC(pd.DataFrame(x), categories=list(range(classes)), digits=12).fleiss()["est"]
            same("Fleiss' kappa interval (irrCAC)", r["fleiss"][1:4], [*cac["confidence_interval"], cac["se"]])
            for level in ("nominal", "ordinal", "interval", "ratio"):
                same("Krippendorff's alpha (krippendorff)", r[level][0],
                     krippendorff.alpha(reliability_data=value.T, level_of_measurement=level))

        job(check_raters, what="raters", items=items, readers=readers, classes=classes, counts=counts,
            value=[None if np.isnan(v) else v for v in value.ravel().tolist()])

# --- intraclass correlation: pingouin (its intervals are rounded to two decimals)
for n, k in ((6, 4), (20, 2), (50, 3), (200, 2)):
    for _ in range(4):
        v = rng.normal(10, 3, (n, 1)) + rng.normal(0, 1, (1, k)) + rng.normal(0, rng.uniform(0.5, 3), (n, k))

        def check_icc(r, v=v, n=n, k=k):
            long = pd.DataFrame({"case": np.repeat(range(n), k), "reader": np.tile(range(k), n), "value": v.ravel()})
            table = pingouin.intraclass_corr(long, "case", "reader", "value")
            for (_, row), key in zip(table.iterrows(), ("ICC1", "ICC2", "ICC3", "ICC1k", "ICC2k", "ICC3k")):
                same("intraclass correlation (pingouin)", r[key][0], row["ICC"])
                interval = row["CI95"] if "CI95" in row else row["CI95%"]
                same("intraclass correlation interval (pingouin, 2 decimals)", np.round(r[key][1:3], 2), interval, 0.0101)
            # to full depth: the same F quantiles written out with SciPy
            rows, cols, all_ = v.mean(1, keepdims=True), v.mean(0, keepdims=True), v.mean()
            b, j = k * ((rows - all_) ** 2).sum() / (n - 1), n * ((cols - all_) ** 2).sum() / (k - 1)
            w = ((v - rows) ** 2).sum() / (n * (k - 1))
            e = ((v - rows - cols + all_) ** 2).sum() / ((n - 1) * (k - 1))
            for key, f, d2 in (("1", b / w, n * (k - 1)), ("3", b / e, (n - 1) * (k - 1))):
                lo, hi = f / st.f.ppf(0.975, n - 1, d2), f * st.f.ppf(0.975, d2, n - 1)
                same("intraclass correlation interval (SciPy)", r["ICC" + key][1:3],
                     [(lo - 1) / (lo + k - 1), (hi - 1) / (hi + k - 1)])
                same("intraclass correlation interval (SciPy)", r["ICC" + key + "k"][1:3], [1 - 1 / lo, 1 - 1 / hi])
            a_, b_ = (lambda rho: (k * rho / (n * (1 - rho)), 1 + k * rho * (n - 1) / (n * (1 - rho))))(r["ICC2"][0])
            df = (a_ * j + b_ * e) ** 2 / ((a_ * j) ** 2 / (k - 1) + (b_ * e) ** 2 / ((n - 1) * (k - 1)))
            up, down = st.f.ppf(0.975, n - 1, df), st.f.ppf(0.975, df, n - 1)
            same("ICC(2,1) interval (McGraw & Wong's form, SciPy)", r["ICC2"][1:3],
                 [n * (b - up * e) / (up * (k * j + (k * n - k - n) * e) + n * b),
                  n * (down * b - e) / (k * j + (k * n - k - n) * e + n * down * b)])
            same("standard error of measurement (NumPy)", [r["sem_agreement"], r["sem_consistency"]],
                 [np.sqrt(max(0, (j - e) / n) + e), np.sqrt(e)])

        job(check_icc, what="icc", items=n, readers=k, value=v.ravel())

# --- limits of agreement and concordance, written out with NumPy and SciPy
for n in (3, 10, 60, 500):
    for _ in range(4):
        x = rng.normal(20, 5, n)
        y = x * rng.uniform(0.8, 1.2) + rng.normal(0.5, 2, n)

        def check_lengths(r, x=x, y=y, n=n):
            d, t, z = x - y, t_quantile(0.975, n - 1), st.norm.ppf(0.975)
            sd = d.std(ddof=1)
            same("limits of agreement (NumPy)", r["bias"][:3], d.mean() + np.array([0, -1, 1]) * t * sd / np.sqrt(n))
            same("limits of agreement (NumPy)", r["upper"][:3],
                 d.mean() + z * sd + np.array([0, -1, 1]) * t * np.sqrt(3 * sd**2 / n))
            same("limits of agreement (NumPy)", r["correlation"], np.corrcoef(d, (x + y) / 2)[0, 1])
            c = 2 * np.cov(x, y, ddof=0)[0, 1] / (x.var() + y.var() + (x.mean() - y.mean()) ** 2)
            same("concordance correlation (NumPy)", r["concordance"][0], c)
            rho, u = np.corrcoef(x, y)[0, 1], (x.mean() - y.mean()) / np.sqrt(x.std() * y.std())
            var = ((1 - rho**2) * c**2 / ((1 - c**2) * rho**2) + 2 * c**3 * (1 - c) * u**2 / (rho * (1 - c**2) ** 2)
                   - c**4 * u**4 / (2 * rho**2 * (1 - c**2) ** 2)) / (n - 2)
            if var > 0:
                same("concordance interval (Lin's formula)", r["concordance"][1:3],
                     np.tanh(np.arctanh(c) + np.array([-z, z]) * np.sqrt(var)))
            same("repeatability coefficient (NumPy, SciPy)", r["repeatability"][:3],
                 z * np.sqrt(np.array([(d**2).sum()] * 3) / [n, st.chi2.ppf(0.975, n), st.chi2.ppf(0.025, n)]))

        job(check_lengths, what="lengths", a=x, b=y)


done = subprocess.run([sys.argv[1]], input=json.dumps(jobs), capture_output=True, text=True, check=True)
for check, result in zip(checks, json.loads(done.stdout), strict=True):
    check(result)
for name, gap in worst.items():
    print(f"{name}: largest difference {gap:.1e}")
print(f"{len(worst)} passed, 0 failed")
