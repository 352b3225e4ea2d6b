/*
 * Cells of pads: their constants, what is known of them, and a stretch of the motion, as in contact/cell_states.py.
 * c cells, s steps between s + 1 knots, p pads; m cells that are looked at. Components are the last axis.
 */
#ifndef GRIPMARGIN_CELLS_H
#define GRIPMARGIN_CELLS_H

#include "core.h"

enum { FREE, TOUCHING, BONDED };
enum { AT_ONCE = 64 }; /* cells taken along together: what is known of them stays in the cache */

typedef struct {
    /* constants of the cells, shape (c,), of vectors (c, 3) */
    const int64_t *pad;
    const double *root, *normal, *area, *steady;
    const uint8_t *gathers, *dwells_on;
    const double *normal_stiffness, *shear_stiffness, *pull, *shear, *dwell, *overload, *residual;
    /* activation laws: where the points of each begin, (p + 1,), their pressures and shares */
    const int64_t *law;
    const double *law_pressure, *law_share;
    /* the stretch of the motion: (s + 1,), (s + 1, 3, 3), (s + 1, 3), (s, 6), (s + 1, c), (s + 1, p, 3), (s + 1, p) */
    const double *t, *rotation, *position, *twist, *pressure, *lean, *contact_stiffness;
    /* states of the cells, changed */
    int64_t *state;
    double *anchor, *stretch, *floor, *base, *bottom, *peak, *since;
    uint8_t *overloaded;
    double *contact_time, *touched_at, *slid, *first_touch, *broken;
    int64_t *breaks;
    double *peak_pressure;
} Cells;

static inline double law_of(const Cells *c, int64_t pad, double peak)
{
    const double *x = c->law_pressure + c->law[pad], *y = c->law_share + c->law[pad];
    int64_t points = c->law[pad + 1] - c->law[pad], j = 0;
    if (!(peak > 0)) return 0.0;
    if (points == 1) return y[0];
    if (points == 2) return y[0] + (y[1] - y[0]) / x[1] * smaller(peak, x[1]);
    if (peak >= x[points - 1]) return y[points - 1];
    while (peak >= x[j + 1]) j++;
    return (y[j + 1] - y[j]) / (x[j + 1] - x[j]) * (peak - x[j]) + y[j];
}

static inline double capacity(const Cells *c, int64_t i)
{
    double share = larger(c->floor[i], law_of(c, c->pad[i], c->peak[i]));
    return c->overloaded[i] ? smaller(share, c->residual[i]) : share;
}

/* By how much a pressure counts as pressed on [Pa]. */
static inline double rise(const Cells *c, int64_t i, double pressure)
{
    double above = pressure - c->base[i];
    return c->gathers[i] && c->bottom[i] < c->base[i] && above > 0 ? pressure - c->bottom[i] : above;
}

/* Where the root is at a knot, face frame [m]. */
static inline void place(const Cells *c, int64_t i, int64_t knot, double *at)
{
    for (int j = 0; j < 3; j++)
        at[j] = dot(c->rotation + 9 * knot + 3 * j, c->root + 3 * i) + c->position[3 * knot + j];
}

#endif
