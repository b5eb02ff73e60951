"""The same fit by statsmodels; prints version, median ms of a fit, both variances and log L."""
import statistics
import sys
import time
import warnings

import numpy
import statsmodels
from statsmodels.tsa.statespace.structural import UnobservedComponents

warnings.simplefilter("ignore")
volumes = numpy.array([float(volume) for volume in sys.argv[1].split(",")])


def fit():
    return UnobservedComponents(volumes, "local level", use_exact_diffuse=True).fit(disp=False)


fit()
taken = []
for _ in range(21):
    begun = time.perf_counter()
    result = fit()
    taken.append((time.perf_counter() - begun) * 1000)
print(statsmodels.__version__, statistics.median(taken), result.params[0], result.params[1], result.llf)
