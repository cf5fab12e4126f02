"""Compiled loops over elements and surface edges. Private to the layer; arrays as described in `conduction`."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit


@njit(cache=True, inline="always")
def _place(temperature: float, low: float, step: float, count: int) -> Any:
    """Grid interval and position in it; outside the grid the first or last interval."""
    x = (temperature - low) / step
    i = int(x)
    if x < 0.0:
        i = 0
    elif i > count - 2:
        i = count - 2
    return i, x - i


@njit(cache=True)
def volume_residual(T, quads, shape, d_r, d_z, weight, kind, low, step, enthalpy, conductivity, base, g, out, held):  # type: ignore[no-untyped-def]
    """out += int (base - H) N - g int k grad T . grad N; held (e, q) takes H at the Gauss points."""
    count = enthalpy.shape[1]
    local = np.empty(9)
    flow = np.empty(9)
    for e in range(quads.shape[0]):
        m = kind[e]
        for i in range(9):
            local[i] = T[quads[e, i]]
            flow[i] = 0.0
        for q in range(weight.shape[1]):
            t = 0.0
            gr = 0.0
            gz = 0.0
            for i in range(9):
                t += shape[q, i] * local[i]
                gr += d_r[e, q, i] * local[i]
                gz += d_z[e, q, i] * local[i]
            p, f = _place(t, low, step, count)
            h = enthalpy[m, p] + f * (enthalpy[m, p + 1] - enthalpy[m, p])
            held[e, q] = h
            f = min(max(f, 0.0), 1.0)
            k = conductivity[m, p] + f * (conductivity[m, p + 1] - conductivity[m, p])
            w = weight[e, q]
            a = w * (base[e, q] - h)
            b = -g * k * w
            for i in range(9):
                flow[i] += a * shape[q, i] + b * (gr * d_r[e, q, i] + gz * d_z[e, q, i])
        for i in range(9):
            out[quads[e, i]] += flow[i]


@njit(cache=True)
def volume_jacobian(  # type: ignore[no-untyped-def]
    T, last, quads, shape, d_r, d_z, weight, kind, low, step, enthalpy, conductivity, g, slot, out
):
    """out[slot] += int c N N' + g int k grad N . grad N'.

    c is the slope of H at T, or where `last` differs from T the secant of H between both: across a latent heat the
    secant sees the jump that the slope on either side of it misses.
    """
    count = enthalpy.shape[1]
    local = np.empty((9, 9))
    for e in range(quads.shape[0]):
        m = kind[e]
        local[:] = 0.0
        for q in range(weight.shape[1]):
            t = 0.0
            t_last = 0.0
            for i in range(9):
                t += shape[q, i] * T[quads[e, i]]
                t_last += shape[q, i] * last[quads[e, i]]
            p, f = _place(t, low, step, count)
            c = (enthalpy[m, p + 1] - enthalpy[m, p]) / step
            if abs(t - t_last) > step:
                h = enthalpy[m, p] + f * (enthalpy[m, p + 1] - enthalpy[m, p])
                p_last, f_last = _place(t_last, low, step, count)
                h_last = enthalpy[m, p_last] + f_last * (enthalpy[m, p_last + 1] - enthalpy[m, p_last])
                c = (h - h_last) / (t - t_last)
            f = min(max(f, 0.0), 1.0)
            k = g * (conductivity[m, p] + f * (conductivity[m, p + 1] - conductivity[m, p]))
            w = weight[e, q]
            for i in range(9):
                a = w * c * shape[q, i]
                b = w * k * d_r[e, q, i]
                d = w * k * d_z[e, q, i]
                for j in range(i + 1):
                    local[i, j] += a * shape[q, j] + b * d_r[e, q, j] + d * d_z[e, q, j]
        for i in range(9):
            for j in range(9):
                out[slot[e, 9 * j + i]] += local[max(i, j), min(i, j)]


@njit(cache=True)
def leak_residual(T, pointers, rows, values, ambient, g, out):  # type: ignore[no-untyped-def]
    """out += g (ambient - M T), M by columns: `rows` and `values` of column j from pointers[j] to pointers[j + 1]."""
    for j in range(len(T)):
        out[j] += g * ambient[j]
        for k in range(pointers[j], pointers[j + 1]):
            out[rows[k]] -= g * values[k] * T[j]


@njit(cache=True)
def load(values, quads, shape, weight, out):  # type: ignore[no-untyped-def]
    """out += int values N."""
    for e in range(quads.shape[0]):
        for q in range(weight.shape[1]):
            a = weight[e, q] * values[e, q]
            for i in range(9):
                out[quads[e, i]] += a * shape[q, i]


@njit(cache=True)
def at_gauss(T, quads, shape, out):  # type: ignore[no-untyped-def]
    """out (e, q) = nodal field at the Gauss points."""
    for e in range(quads.shape[0]):
        for q in range(shape.shape[0]):
            t = 0.0
            for i in range(9):
                t += shape[q, i] * T[quads[e, i]]
            out[e, q] = t


@njit(cache=True)
def table_at(values, quads, shape, kind, low, step, table, out):  # type: ignore[no-untyped-def]
    """out (e, q) = table[kind] at the nodal temperatures `values`, linear also beyond the grid."""
    for e in range(quads.shape[0]):
        m = kind[e]
        for q in range(shape.shape[0]):
            t = 0.0
            for i in range(9):
                t += shape[q, i] * values[quads[e, i]]
            p, f = _place(t, low, step, table.shape[1])
            out[e, q] = table[m, p] + f * (table[m, p + 1] - table[m, p])


@njit(cache=True)
def surface_emission(T, edges, line, weight, kind, patch, low, step, emission, emissivity, patch_area, e_out, eps_out):  # type: ignore[no-untyped-def]
    """Per patch and band: mean emission (W/m^2) and mean emissivity."""
    e_out[:] = 0.0
    eps_out[:] = 0.0
    count = emission.shape[2]
    for b in range(edges.shape[0]):
        m = kind[b]
        for q in range(weight.shape[1]):
            t = 0.0
            for i in range(3):
                t += line[q, i] * T[edges[b, i]]
            p, f = _place(t, low, step, count)
            f = min(max(f, 0.0), 1.0)
            w = weight[b, q] / patch_area[patch[b]]
            for k in range(emission.shape[1]):
                e_out[patch[b], k] += w * (emission[m, k, p] + f * (emission[m, k, p + 1] - emission[m, k, p]))
                eps_out[patch[b], k] += w * (emissivity[m, k, p] + f * (emissivity[m, k, p + 1] - emissivity[m, k, p]))


@njit(cache=True)
def surface_residual(T, edges, line, weight, kind, patch, low, step, emission, emissivity, arriving, g, out, leaving):  # type: ignore[no-untyped-def]
    """out -= g int (M - eps G) N over the surface; leaving[region] = net radiated W per region."""
    count = emission.shape[2]
    leaving[:] = 0.0
    for b in range(edges.shape[0]):
        m = kind[b]
        for q in range(weight.shape[1]):
            t = 0.0
            for i in range(3):
                t += line[q, i] * T[edges[b, i]]
            p, f = _place(t, low, step, count)
            f = min(max(f, 0.0), 1.0)
            flux = 0.0
            for k in range(emission.shape[1]):
                eps = emissivity[m, k, p] + f * (emissivity[m, k, p + 1] - emissivity[m, k, p])
                flux += emission[m, k, p] + f * (emission[m, k, p + 1] - emission[m, k, p])
                flux -= eps * arriving[patch[b], k]
            flux *= weight[b, q]
            leaving[m] += flux
            for i in range(3):
                out[edges[b, i]] -= g * flux * line[q, i]


@njit(cache=True)
def surface_jacobian(T, edges, line, weight, kind, patch, low, step, emission, emissivity, arriving, g, slot, out):  # type: ignore[no-untyped-def]
    """out[slot] += g int d(M - eps G)/dT N N', never below zero."""
    count = emission.shape[2]
    for b in range(edges.shape[0]):
        m = kind[b]
        for q in range(weight.shape[1]):
            t = 0.0
            for i in range(3):
                t += line[q, i] * T[edges[b, i]]
            p, _ = _place(t, low, step, count)
            slope = 0.0
            for k in range(emission.shape[1]):
                slope += emission[m, k, p + 1] - emission[m, k, p]
                slope -= (emissivity[m, k, p + 1] - emissivity[m, k, p]) * arriving[patch[b], k]
            a = g * weight[b, q] * max(slope, 0.0) / step
            for i in range(3):
                for j in range(3):
                    out[slot[b, 3 * j + i]] += a * line[q, i] * line[q, j]


@njit(cache=True)
def exchange_columns(T, edges, line, weight, kind, patch, low, step, emission, emissivity, patch_area, take, give):  # type: ignore[no-untyped-def]
    """take[n, p, band] = int over patch p of eps N; give[p, band, n] = d(mean emission of p)/dT of node n."""
    take[:] = 0.0
    give[:] = 0.0
    count = emission.shape[2]
    for b in range(edges.shape[0]):
        m = kind[b]
        for q in range(weight.shape[1]):
            t = 0.0
            for i in range(3):
                t += line[q, i] * T[edges[b, i]]
            p, f = _place(t, low, step, count)
            f = min(max(f, 0.0), 1.0)
            w = weight[b, q]
            for k in range(emission.shape[1]):
                eps = emissivity[m, k, p] + f * (emissivity[m, k, p + 1] - emissivity[m, k, p])
                slope = (emission[m, k, p + 1] - emission[m, k, p]) / step
                for i in range(3):
                    take[edges[b, i], patch[b], k] += w * eps * line[q, i]
                    give[patch[b], k, edges[b, i]] += w * slope * line[q, i] / patch_area[patch[b]]
