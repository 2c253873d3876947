"""Reference values for the formulas of package planning, from SciPy 1.10.1 (scipy.stats, scipy.optimize).

    python3 reference.py > power.csv

PowerForLobe: Patnaik, Biometrika 36, 1949 (ncx2.sf beyond the central quantile); PowerToTell and PowerForSame: the
normal distribution; redone here from the method's formulas and not from the package.
"""
import math
from scipy.optimize import brentq
from scipy.stats import binom, chi2, ncx2, norm

print("what,d,sigma,blocks,alpha,df,value")
for d, s, n, a in [(1.5, 1.5, 16, .05), (1.5, 1.5, 16, .0125), (1.5, 2.5, 24, .05), (1, .7, 12, .05 / 30), (0.5, 2.5, 8, .05)]:
    z = norm.isf(a / 2)
    print(f"tell,{d},{s},{n},{a!r},,{norm.cdf(d / s * math.sqrt(n - z * z / 2) - z)!r}")
for d, s, n in [(1.5, 1.5, 16), (1.5, .7, 10), (1, 2.5, 80), (1, 2.5, 10)]:
    print(f"same,{d},{s},{n},,,{max(0, 2 * norm.cdf(d / s * math.sqrt(n - 2) - norm.isf(.025)) - 1)!r}")
for d, s, n in [(3, 2, 8), (3, 1, 16), (1, 2.5, 12)]:
    z, se = norm.isf(.025), s / math.sqrt(n - norm.isf(.025) ** 2 / 2)
    print(f"step,{d},{s},{n},,,{max(0, norm.cdf(z) - norm.cdf(max(-z, z - d / se)))!r}")
for d, s, n, a, df in [(1.5, 2, 16, .05, 2), (1.5, 2, 16, .0125, 2), (2, 2, 24, .0125, 4), (1, 3, 12, .05, 4), (3, 1, 40, .05 / 30, 2), (1, 2, 4, .05, 2)]:
    lam = max(0, n - 4) * d * d / s / s
    c = chi2.isf(a, df)
    print(f"lobe,{d},{s},{n},{a!r},{df},{(ncx2.sf(c, df, lam) if lam else a)!r}")
for df in (2, 4):
    for a in (.05, .0125):
        for p in (.8, .9):
            c = chi2.isf(a, df)
            print(f"noncentrality,{p},,,{a!r},{df},{brentq(lambda l: ncx2.sf(c, df, l) - p, .1, 200)!r}")
for n, p in [(12, .76), (16, .76), (400, .76), (400, .86)]:
    print(f"least,{p},,{n},,,{binom.ppf(.001, n, p)!r}")
for k, n in [(12, 40), (0, 40), (40, 40)]:
    z = norm.isf(.025)
    m, h, q = k / n + z * z / 2 / n, z * math.sqrt(k / n * (1 - k / n) / n + z * z / 4 / n / n), 1 + z * z / n
    print(f"wilson,{k},,{n},,,{max(0, (m - h) / q)!r}")
