/*
 * Oscillators marched through loads, and at a corner of the box of all that their responses may be: as in
 * kernels/march.py, which says why. k oscillators, n steps, m starts, p points of a plain face; starts are the last axis.
 */
#include "core.h"

typedef struct {
    const double *maps, *load, *amplitude; /* (3, p, k), (k, m), (k, m) */
    const uint8_t *tried;                  /* of which both signs are tried, (k,) */
    double *used, *work;                   /* (m,), (2 k + 1, 3, p) */
} Boxes;

/* The largest squared utilisation from a traction on, with each of some more of both signs: those follow in `swings`. */
static double largest(double *traction, const double *swings, int64_t more, int64_t p)
{
    double *next = traction + 3 * p, most = 0.0;
    if (more == 0) {
        for (int64_t i = 0; i < p; i++) {
            double s = larger(traction[2 * p + i], 0.0);
            most = larger(most, s * s + traction[i] * traction[i] + traction[p + i] * traction[p + i]);
        }
        return most;
    }
    for (int64_t i = 0; i < 3 * p; i++) next[i] = traction[i] + swings[i];
    most = largest(next, swings + 3 * p, more - 1, p);
    for (int64_t i = 0; i < 3 * p; i++) next[i] = traction[i] - swings[i];
    return larger(most, largest(next, swings + 3 * p, more - 1, p));
}

/* The largest utilisation at the corners of each box; sizes: k, m, p. */
KERNEL corners(const int64_t *sizes, void *const *arrays)
{
    const Boxes *b = (const Boxes *)(const void *)arrays;
    int64_t k = sizes[0], m = sizes[1], p = sizes[2];
    double *swings = b->work, *traction = b->work + 3 * p * k;
    for (int64_t j = 0; j < m; j++) {
        int64_t tried = 0;
        for (int64_t i = 0; i < 3 * p; i++) {
            traction[i] = 0.0;
            for (int64_t o = 0; o < k; o++) traction[i] += b->maps[i * k + o] * b->load[o * m + j];
        }
        for (int64_t o = 0; o < k; o++) {
            if (!b->tried[o]) continue;
            for (int64_t i = 0; i < 3 * p; i++)
                swings[3 * p * tried + i] = b->maps[i * k + o] * b->amplitude[o * m + j];
            tried++;
        }
        b->used[j] = sqrt(largest(traction, swings, tried, p));
    }
    return m;
}

typedef struct {
    const double *maps, *load, *step, *phase; /* (3, p, k), (n + 1, k, m), (m,), (k, m) complex */
    const double *pole, *lag, *turn;          /* (k,) complex, (k,), (k, m) complex */
    const uint8_t *followed;                  /* (k,) */
    double *slope, *bend, *free, *last;       /* (n, k, m), (n - 1, k, m), (n, k, m) complex, (k, m) complex */
    double *used, *work;                      /* (n + 1, m), (k + 3, m) */
} March;

/* The largest utilisation by responses, of each start; what it works on is (3, m). */
static void used_by(const double *maps, const double *response, int64_t k, int64_t m, int64_t p, double *work, double *out)
{
    for (int64_t j = 0; j < m; j++) out[j] = 0.0;
    for (int64_t i = 0; i < p; i++) {
        for (int64_t c = 0; c < 3; c++) {
            const double *map = maps + (c * p + i) * k;
            for (int64_t j = 0; j < m; j++) work[c * m + j] = 0.0;
            for (int64_t o = 0; o < k; o++)
                for (int64_t j = 0; j < m; j++) work[c * m + j] += map[o] * response[o * m + j];
        }
        for (int64_t j = 0; j < m; j++) {
            double t1 = work[j], t2 = work[m + j], s = larger(work[2 * m + j], 0.0);
            out[j] = larger(out[j], s * s + t1 * t1 + t2 * t2);
        }
    }
    for (int64_t j = 0; j < m; j++) out[j] = sqrt(out[j]);
}

/* Slopes and bends of the load, the free vibration at each node, and what all ask of the pads; sizes: k, n, m, p. */
KERNEL marched(const int64_t *sizes, void *const *arrays)
{
    const March *o = (const March *)(const void *)arrays;
    int64_t k = sizes[0], n = sizes[1], m = sizes[2], row = k * m;
    double *response = o->work;
    for (int64_t i = 0; i <= n; i++) {
        for (int64_t c = 0; c < k; c++) {
            double re = o->pole[2 * c], im = o->pole[2 * c + 1], lag = o->lag[c], counts = o->followed[c] ? 1.0 : 0.0;
            for (int64_t j = 0; j < m; j++) {
                int64_t at = c * m + j, here = i * row + at, before = here - row;
                double slope = i < n ? (o->load[here + row] - o->load[here]) / o->step[j] : o->slope[before];
                double still = o->load[here] - lag * slope, bend = i > 0 ? slope - o->slope[before] : 0.0;
                double *free = i < n ? o->free + 2 * here : o->last + 2 * at;
                if (i == 0) {
                    free[0] = o->phase[2 * at] - (slope - re * still) / im;
                    free[1] = o->phase[2 * at + 1] - im * still / im;
                } else {
                    const double *held = o->free + 2 * before, *turn = o->turn + 2 * at;
                    free[0] = turn[0] * held[0] - turn[1] * held[1];
                    free[1] = turn[0] * held[1] + turn[1] * held[0];
                }
                if (i > 0 && i < n) {
                    free[0] -= (1.0 + re * lag) / im * bend;
                    free[1] += im * lag / im * bend;
                    o->bend[before] = bend;
                }
                if (i < n) o->slope[here] = slope;
                response[at] = still + counts * free[1];
            }
        }
        used_by(o->maps, response, k, m, sizes[3], response + row, o->used + i * m);
    }
    return n;
}
