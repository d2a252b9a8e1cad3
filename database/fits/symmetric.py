"""Makes a fit's covariance symmetric to the last bit, as a release keeps half of it."""

from __future__ import annotations

from dataclasses import replace

from ...calibrate.fit.problem.result import JointFit


def symmetric(fit: JointFit) -> JointFit:
    """Make the covariance of K with S that of S with K to the last bit, as a release keeps one."""
    local = fit.coefficients.local.copy()
    local[:, 1, 0] = local[:, 0, 1]
    found = replace(fit.coefficients, local=local)
    paints = {
        nickname: replace(paint, coefficients=found.select(paint.coefficients.paints))
        for nickname, paint in fit.paints.items()
    }
    return replace(fit, coefficients=found, paints=paints)
