/*
 * Oscillators whose responses are at a corner of the box of all they may be, as in kernels/march.py, `in_phase`.
 * k oscillators, m starts, p points of a plain face; starts and points are the last axis.
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
