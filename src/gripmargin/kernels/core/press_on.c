/* Cells that stay bonded over a stretch with changing pressure, as in contact/press_engine.py. */
#include "cells.h"

typedef struct {
    Cells cells;
    const int64_t *which; /* the cells, (m,); the pressure of the stretch is theirs, (s + 1, m) */
    const uint8_t *far;   /* which of them may get further from where they touched, (m,) */
    double *held;         /* share of the full strength after each step, (s, m) */
} Pressed;

/* A cell at the end of step k under a pressure; share: what it held before, written over. */
static void press(const Cells *c, int64_t i, int64_t k, double pressure, int far, double *share)
{
    double peak = larger(c->peak[i], rise(c, i, pressure));
    if (!(peak == c->peak[i]) || k == 0) {
        c->peak[i] = peak;
        *share = capacity(c, i);
    }
    c->peak_pressure[i] = larger(c->peak_pressure[i], pressure);
    if (!(pressure > 0)) return;
    c->contact_time[i] += c->t[k + 1] - c->t[k];
    if (!far) return;
    double at[3];
    place(c, i, k + 1, at);
    double x = at[0] - c->touched_at[3 * i], y = at[1] - c->touched_at[3 * i + 1];
    c->slid[i] = larger(c->slid[i], sqrt(x * x + y * y));
}

/* Carry cells over a stretch; sizes: m, s. Returns m. */
KERNEL press_on(const int64_t *sizes, void *const *arrays)
{
    const Pressed *p = (const Pressed *)(const void *)arrays;
    int64_t many = sizes[0], steps = sizes[1];
    for (int64_t first = 0; first < many; first += AT_ONCE) {
        int64_t end = first + AT_ONCE < many ? first + AT_ONCE : many;
        double share[AT_ONCE];
        for (int64_t k = 0; k < steps; k++) {
            for (int64_t j = first; j < end; j++) {
                press(&p->cells, p->which[j], k, p->cells.pressure[(k + 1) * many + j], p->far[j], share + (j - first));
                p->held[k * many + j] = share[j - first];
            }
        }
    }
    return many;
}
