/*
 * The life of cells under a given motion, step by step: the rules are those of contact/cell_life.py, which says why.
 * Cells do not know of each other.
 */
#include "cells.h"

typedef struct {
    Cells cells;
    /* what happened: (s, c), (s, c), (s,), (s,), (s,), (s, 6) */
    uint8_t *bonded;
    double *held, *lost, *kink, *first_break, *unbroken;
    /* each time that a cell is bonded from a step on: step, cell, anchor; room for s c */
    int64_t *begins, *own;
    double *anchors;
} Life;

/* A step of a cell from knot k to the next. */
typedef struct {
    int64_t i, k, cells, pads;
    double before, after, duration; /* pressure at its start and end [Pa]; [s] */
} Step;

/* Where a freely sliding cell meets the face at a knot, face frame [m]. */
static void resting(const Cells *c, const Step *s, int64_t knot, const double *root, double pressure, double *at)
{
    int64_t of_pad = knot * s->pads + c->pad[s->i];
    double depth = pressure / c->contact_stiffness[of_pad];
    for (int j = 0; j < 3; j++) at[j] = root[j] + depth * c->lean[3 * of_pad + j];
}

/* From root to anchor at a knot, tool axes [m]. */
static void elongation(const Cells *c, int64_t i, int64_t knot, double *out)
{
    const double *r = c->rotation + 9 * knot, *anchor = c->anchor + 3 * i;
    double way[3];
    for (int j = 0; j < 3; j++) way[j] = anchor[j] - c->position[3 * knot + j];
    for (int j = 0; j < 3; j++) out[j] = way[0] * r[j] + way[1] * r[3 + j] + way[2] * r[6 + j] - c->root[3 * i + j];
}

/* Force of a bonded cell on the part, face axes [N]; returns its energy [J]. */
static double bonded_force(const Cells *c, int64_t i, const double *stretch, const double *r, double *force)
{
    const double *n = c->normal + 3 * i;
    double extra = (c->normal_stiffness[i] - c->shear_stiffness[i]) * dot(stretch, n), pull[3];
    for (int j = 0; j < 3; j++) pull[j] = c->shear_stiffness[i] * stretch[j] + extra * n[j];
    for (int j = 0; j < 3; j++) force[j] = -c->area[i] * dot(pull, r + 3 * j);
    return 0.5 * c->area[i] * dot(pull, stretch);
}

/* Squared utilisation of a full bond. */
static double utilisation2(const Cells *c, int64_t i, const double *stretch)
{
    double opening = dot(stretch, c->normal + 3 * i);
    double across2 = larger(dot(stretch, stretch) - opening * opening, 0.0);
    double pull = larger(opening * (c->normal_stiffness[i] / c->pull[i]), 0.0);
    double shear = c->shear_stiffness[i] / c->shear[i];
    return pull * pull + across2 * (shear * shear);
}

/* Larger root of a x^2 + 2 b x + c, inf where there is none or a vanishes. */
static double upper_root(double a, double b, double c)
{
    double root = sqrt(b * b - a * c), out = b > 0 ? -c / (b + root) : (root - b) / a;
    return isfinite(out) ? out : INFINITY;
}

/* Where on the way to an elongation beyond the limit the squared utilisation first reaches it, 0 to 1. */
static double crossing(const Cells *c, int64_t i, const double *end, double limit2)
{
    const double *start = c->stretch + 3 * i, *n = c->normal + 3 * i;
    double pull = c->normal_stiffness[i] / c->pull[i], shear = c->shear_stiffness[i] / c->shear[i], t0[3], dt[3];
    double opening0 = dot(start, n), opening1 = dot(end, n);
    for (int j = 0; j < 3; j++) {
        double across0 = start[j] - opening0 * n[j];
        t0[j] = across0 * shear;
        dt[j] = (end[j] - opening1 * n[j] - across0) * shear;
    }
    double n0 = opening0 * pull, dn = (opening1 - opening0) * pull, shear2 = dot(t0, t0);
    double square = dot(dt, dt), half = dot(dt, t0), rest = shear2 - limit2, tension = larger(n0, 0.0);
    double share = upper_root(square, half, rest), both = upper_root(square + dn * dn, half + n0 * dn, rest + n0 * n0);
    if (isfinite(both) && n0 + both * dn > 0 && both < share) share = both;
    return tension * tension + shear2 >= limit2 ? 0.0 : smaller(larger(share, 0.0), 1.0);
}

/* Work that a step would do against the pressure of a freely sliding cell, were it constant [J]. */
static double contact_power(const Cells *c, const Step *s, double pressure, const double *root, int later)
{
    const double *twist = c->twist + 6 * s->k;
    double pushed = larger(pressure, 0.0), at[3];
    resting(c, s, s->k + later, root, pushed, at);
    return -c->area[s->i] * pushed * (twist[2] + twist[3] * at[1] - twist[4] * at[0]);
}

static void leave(const Life *life, const Step *s)
{
    const Cells *c = &life->cells;
    double share = s->before / (s->before - s->after), root[3];
    place(c, s->i, s->k, root);
    life->kink[s->k] += -0.5 * contact_power(c, s, s->before, root, 0) * (1.0 - share);
    c->state[s->i] = FREE;
    for (int j = 0; j < 3; j++) c->stretch[3 * s->i + j] = 0.0;
}

static void touch(const Life *life, const Step *s)
{
    const Cells *c = &life->cells;
    int64_t i = s->i;
    double share = smaller(larger(-s->before / (s->after - s->before), 0.0), 1.0), here[3], there[3];
    place(c, i, s->k, here);
    place(c, i, s->k + 1, there);
    for (int j = 0; j < 3; j++) {
        c->touched_at[3 * i + j] = c->anchor[3 * i + j] = here[j] + share * (there[j] - here[j]);
        c->stretch[3 * i + j] = 0.0;
    }
    life->kink[s->k] += -0.5 * contact_power(c, s, s->after, there, 1) * share;
    c->state[i] = TOUCHING;
    c->base[i] = c->peak[i] = c->floor[i] = c->slid[i] = 0.0;
    c->overloaded[i] = 0;
    c->bottom[i] = NAN;
    c->since[i] = c->t[s->k] + share * s->duration;
    c->contact_time[i] = (1.0 - share) * s->duration;
    if (isnan(c->first_touch[i])) c->first_touch[i] = c->since[i];
}

/* Take a cell on or off the face; return whether it touches from now on. */
static int touch_and_leave(const Life *life, const Step *s)
{
    const Cells *c = &life->cells;
    int64_t i = s->i;
    int pressed = s->after > 0, left = c->state[i] == TOUCHING && s->after <= 0, fresh = c->state[i] == FREE && pressed;
    if (pressed) c->contact_time[i] += s->duration;
    c->peak_pressure[i] = larger(c->peak_pressure[i], s->after);
    if (left) leave(life, s);
    if (fresh) touch(life, s);
    if (pressed) {
        double at[3];
        place(c, i, s->k + 1, at);
        double x = at[0] - c->touched_at[3 * i], y = at[1] - c->touched_at[3 * i + 1];
        c->slid[i] = larger(c->slid[i], sqrt(x * x + y * y));
    }
    return fresh;
}

/* Return the share of the full strength that a cell has, or would have, after the step. */
static double press_and_bond(const Cells *c, const Step *s, int fresh)
{
    int64_t i = s->i;
    double time = c->t[s->k + 1], level = s->after + c->steady[i];
    int touching = c->state[i] == TOUCHING, falling = touching && level <= c->base[i];
    if (touching) c->base[i] = smaller(c->base[i], level); /* what is not a number stays so */
    if (falling) {
        c->peak[i] = 0.0;
        if (!c->dwells_on[i]) c->since[i] = time;
        c->bottom[i] = smaller(c->bottom[i], level);
    }
    c->peak[i] = larger(c->peak[i], rise(c, i, s->after));
    c->overloaded[i] |= s->after > c->overload[i];
    double share = capacity(c, i);
    if (touching && !falling && share > 0 && time - c->since[i] >= c->dwell[i] - 1e-12 * fabs(time)) {
        c->state[i] = BONDED;
        if (c->dwell[i] > 0 || !fresh) {
            double root[3];
            place(c, i, s->k + 1, root);
            resting(c, s, s->k + 1, root, s->after, c->anchor + 3 * i);
            elongation(c, i, s->k + 1, c->stretch + 3 * i);
        }
    }
    return share;
}

/* Note energy, work and reaction of a cell that breaks at a share of the step, at a pressure [Pa]. */
static void account(const Life *life, const Step *s, double share, double pressure, const double *end)
{
    const Cells *c = &life->cells;
    int64_t i = s->i, k = s->k;
    const double *start = c->stretch + 3 * i, *anchor = c->anchor + 3 * i, *twist = c->twist + 6 * k;
    const double *now = c->rotation + 9 * k, *then = now + 9;
    double at_break[3], force0[3], force1[3], none[3], velocity[3], root[3], at[3], turned[3], moved[3];
    for (int j = 0; j < 3; j++) at_break[j] = start[j] + share * (end[j] - start[j]);
    double pushed = larger(pressure, 0.0), stiffness = c->contact_stiffness[(k + 1) * s->pads + c->pad[i]];
    life->lost[k] += bonded_force(c, i, at_break, then, none) - 0.5 * c->area[i] * pushed * pushed / stiffness;
    life->first_break[k] = fmin(life->first_break[k], share);

    bonded_force(c, i, start, now, force0);
    bonded_force(c, i, end, then, force1);
    cross(twist + 3, anchor, velocity);
    for (int j = 0; j < 3; j++) velocity[j] += twist[j];
    place(c, i, k + 1, root);
    double power0 = dot(force0, velocity), power1 = dot(force1, velocity);
    double contact1 = contact_power(c, s, s->after, root, 1), contact_at = contact_power(c, s, pressure, root, 1);
    double power_at = power0 + share * (power1 - power0);
    life->kink[k] += 0.5 * share * (power0 + power_at) + 0.5 * (1.0 - share) * (contact_at + contact1)
        - 0.5 * (power0 + contact1);

    double contact[3] = {0.0, 0.0, -c->area[i] * larger(s->after, 0.0)};
    resting(c, s, k + 1, root, larger(s->after, 0.0), at);
    cross(anchor, force1, turned);
    cross(at, contact, moved);
    for (int j = 0; j < 3; j++) {
        life->unbroken[6 * k + j] += force1[j] - contact[j];
        life->unbroken[6 * k + 3 + j] += turned[j] - moved[j];
    }
}

/* Stretch a bonded cell; return whether it breaks, where its utilisation reaches what it holds. */
static int stretch_and_break(const Life *life, const Step *s, double held)
{
    const Cells *c = &life->cells;
    int64_t i = s->i;
    double end[3];
    elongation(c, i, s->k + 1, end);
    if (!(utilisation2(c, i, end) > held * held)) {
        for (int j = 0; j < 3; j++) c->stretch[3 * i + j] = end[j];
        return 0;
    }
    double share = crossing(c, i, end, held * held), pressure = s->before + share * (s->after - s->before);
    account(life, s, share, pressure, end);
    c->state[i] = s->after > 0 ? TOUCHING : FREE;
    c->base[i] = larger(smaller(pressure, s->after), 0.0) + c->steady[i];
    c->bottom[i] = fmin(c->bottom[i], c->base[i]);
    c->peak[i] = c->floor[i] = 0.0;
    if (!c->dwells_on[i]) c->since[i] = c->t[s->k + 1];
    c->broken[i] = c->t[s->k] + share * s->duration;
    c->breaks[i] += 1;
    for (int j = 0; j < 3; j++) c->stretch[3 * i + j] = 0.0;
    return 1;
}

/* Take a cell through a step; return whether it is bonded from now on. */
static int take(const Life *life, const Step *s)
{
    const Cells *c = &life->cells;
    int64_t i = s->i, at = s->k * s->cells + i, before = c->state[i];
    double share = press_and_bond(c, s, touch_and_leave(life, s));
    if (c->state[i] == BONDED && stretch_and_break(life, s, share)) share = capacity(c, i);
    if (c->state[i] != BONDED) return 0;
    life->bonded[at] = 1;
    life->held[at] = share;
    return before != BONDED || s->k == 0;
}

/* Take cells through a stretch of the motion; sizes: c, s, p. Returns how often a cell is bonded from a step on. */
KERNEL follow(const int64_t *sizes, void *const *arrays)
{
    const Life *life = (const Life *)(const void *)arrays;
    const Cells *c = &life->cells;
    int64_t spells = 0, cells = sizes[0], steps = sizes[1];
    for (int64_t first = 0; first < cells; first += AT_ONCE) {
        int64_t end = first + AT_ONCE < cells ? first + AT_ONCE : cells;
        for (int64_t k = 0; k < steps; k++) {
            const double *pressure = c->pressure + k * cells;
            double duration = c->t[k + 1] - c->t[k];
            for (int64_t i = first; i < end; i++) {
                Step s = {i, k, cells, sizes[2], pressure[i], pressure[cells + i], duration};
                if (c->state[i] == FREE && !(s.after > 0)) continue; /* off the face nothing happens to it */
                if (!take(life, &s)) continue;
                life->begins[spells] = k;
                life->own[spells] = i;
                for (int j = 0; j < 3; j++) life->anchors[3 * spells + j] = c->anchor[3 * i + j];
                spells++;
            }
        }
    }
    return spells;
}
