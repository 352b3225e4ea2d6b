/*
 * A body that has swung out of its place, and oscillators under their loads: as in kernels/sway.py, which says why.
 * Samples are the last axis, n of them; components come first.
 */
#include "core.h"

typedef struct {
    double first, second; /* of a turn: sin a / a, and (1 - cos a) / a^2 */
} Turn;

static void read(const double *rows, int64_t n, int64_t i, double *out)
{
    for (int j = 0; j < 3; j++) out[j] = rows[j * n + i];
}

static void times(const double *matrix, const double *vector, double *out)
{
    for (int j = 0; j < 3; j++) out[j] = dot(matrix + 3 * j, vector);
}

static Turn turn_of(const double *turn)
{
    double square = dot(turn, turn), angle = sqrt(square);
    Turn small = {1.0 - square / 6.0, 0.5 - square / 24.0};
    if (!(angle > 1e-4)) return small;
    Turn large = {sin(angle) / angle, (1.0 - cos(angle)) / square};
    return large;
}

/* A vector turned by a rotation vector; back: by its opposite. */
static void turned(const double *turn, Turn of, int back, const double *vector, double *out)
{
    double once[3], twice[3];
    cross(turn, vector, once);
    cross(turn, once, twice);
    for (int j = 0; j < 3; j++) out[j] = vector[j] + (back ? -of.first : of.first) * once[j] + of.second * twice[j];
}

/* Change of angular momentum of a body turned by a rotation vector. */
static void euler(const double *inertia, const double *turn, Turn of, const double *omega, const double *alpha, double *out)
{
    double back_omega[3], back_alpha[3], momentum[3], gyroscopic[3], change[3];
    turned(turn, of, 1, omega, back_omega);
    turned(turn, of, 1, alpha, back_alpha);
    times(inertia, back_omega, momentum);
    cross(back_omega, momentum, gyroscopic);
    times(inertia, back_alpha, change);
    for (int j = 0; j < 3; j++) change[j] += gyroscopic[j];
    turned(turn, of, 0, change, out);
}

/* Half of what three turns, one after the other, differ from their rotation vector. */
static void apart(const double *one, const double *other, double *out)
{
    out[0] = 0.25 * (one[1] * other[2] + one[2] * other[1]);
    out[1] = -0.25 * (one[0] * other[2] + one[2] * other[0]);
    out[2] = 0.25 * (one[0] * other[1] + one[1] * other[0]);
}

/* Moment of the springs beyond the linear one; turns one after the other become a rotation vector, with their rates. */
static void springs_of(int in_turns, const double *tau, double *turn, double *spin, double *spin_up, double *out)
{
    cross(turn, tau, out);
    for (int j = 0; j < 3; j++) out[j] *= 0.5;
    if (!in_turns) return;
    double place[3], rate[3], bend[3], own[3];
    out[0] = 0.0;
    out[1] = -turn[0] * tau[2];
    out[2] = turn[0] * tau[1] - turn[1] * tau[0];
    apart(turn, turn, place);
    apart(turn, spin, rate);
    apart(turn, spin_up, bend);
    apart(spin, spin, own);
    for (int j = 0; j < 3; j++) {
        turn[j] += place[j];
        spin[j] += 2.0 * rate[j];
        spin_up[j] += 2.0 * (bend[j] + own[j]);
    }
}

typedef struct {
    const double *mass, *com, *inertia, *arm, *about_pivot, *about_arm, *about_com; /* (1,), (3,), (3, 3), (3,), (3, 3) */
    const double *frame, *way, *rate, *bend, *carried;                              /* (3, 3, n), then (6, n) each */
    double *out;                                                                    /* (6, n) */
} Body;

/* What a linear swing leaves out of the load of a body at a sample. */
static void displaced(const Body *b, int in_turns, int64_t n, int64_t i)
{
    double felt[3], omega[3], alpha[3], shift[3], turn[3], rate[3], spin[3], bend[3], spin_up[3], force_carried[3], tau[3];
    double u[3], v[3], w[3], straight[3], linear[3], springs[3], mass = b->mass[0];
    read(b->frame, n, i, felt);
    read(b->frame + 3 * n, n, i, omega);
    read(b->frame + 6 * n, n, i, alpha);
    double *shifts[] = {shift, rate, bend, force_carried}, *turns[] = {turn, spin, spin_up, tau};
    const double *rows[] = {b->way, b->rate, b->bend, b->carried};
    for (int k = 0; k < 4; k++) {
        read(rows[k], n, i, shifts[k]);
        read(rows[k] + 3 * n, n, i, turns[k]);
        times(b->about_pivot, k < 3 ? turns[k] : shifts[k], u);
        for (int j = 0; j < 3; j++) (k < 3 ? shifts[k] : turns[k])[j] -= u[j];
    }

    times(b->about_com, alpha, u);
    times(b->about_com, omega, v);
    cross(omega, v, w);
    times(b->about_arm, spin_up, v);
    for (int j = 0; j < 3; j++) straight[j] = (felt[j] + u[j] + w[j] - bend[j] + v[j]) * mass;
    for (int j = 0; j < 3; j++) u[j] = alpha[j] + spin_up[j];
    times(b->inertia, u, v);
    times(b->inertia, omega, u);
    cross(omega, u, w);
    times(b->about_arm, straight, u);
    for (int j = 0; j < 3; j++) linear[j] = u[j] - v[j] - w[j];

    springs_of(in_turns, tau, turn, spin, spin_up, springs);
    double own[3], turning[3], moved[3], place[3], speed[3], force[3], lever[3], change[3];
    cross(turn, spin, u);
    cross(turn, spin_up, v);
    for (int j = 0; j < 3; j++) own[j] = spin[j] + 0.5 * u[j], turning[j] = spin_up[j] + 0.5 * v[j];
    Turn of = turn_of(turn);
    turned(turn, of, 0, b->arm, moved);
    cross(own, moved, speed);
    for (int j = 0; j < 3; j++) place[j] = b->com[j] - b->arm[j] + shift[j] + moved[j], v[j] = rate[j] + speed[j];
    cross(alpha, place, u);
    for (int j = 0; j < 3; j++) force[j] = felt[j] - u[j];
    cross(omega, place, u);
    cross(omega, u, w);
    cross(omega, v, u);
    for (int j = 0; j < 3; j++) force[j] = force[j] - w[j] - 2.0 * u[j];
    cross(turning, moved, u);
    cross(own, speed, w);
    for (int j = 0; j < 3; j++) force[j] = mass * (force[j] - bend[j] - u[j] - w[j]);
    cross(omega, own, u);
    for (int j = 0; j < 3; j++) v[j] = omega[j] + own[j], w[j] = alpha[j] + u[j] + turning[j];
    cross(moved, force, lever);
    euler(b->inertia, turn, of, v, w, change);

    for (int j = 0; j < 3; j++) u[j] = force[j] - straight[j];
    times(b->about_pivot, u, v);
    for (int j = 0; j < 3; j++) {
        b->out[j * n + i] = u[j];
        b->out[(3 + j) * n + i] = lever[j] - change[j] - linear[j] - springs[j] + v[j];
    }
}

/* At all samples; sizes: n, whether springs are linear in turns one after the other. */
KERNEL displaced_load(const int64_t *sizes, void *const *arrays)
{
    for (int64_t i = 0; i < sizes[0]; i++) displaced((const Body *)(const void *)arrays, sizes[1] != 0, sizes[0], i);
    return sizes[0];
}

typedef struct {
    const double *load, *since, *fade;              /* (modes, n), (n,), (modes, n) complex */
    const double *frequency, *damping, *turn, *pole; /* (modes,), the last complex */
    const double *place, *speed;                    /* at the first sample, (modes,) */
    const uint8_t *slow;                            /* the others follow their load at once, (modes,) */
    double *found, *rate, *bend;                    /* (modes, n) */
} Window;

/* Response, its rate and its second derivative over a window; sizes: modes, n (2 or more). */
KERNEL answer(const int64_t *sizes, void *const *arrays)
{
    const Window *o = (const Window *)(const void *)arrays;
    int64_t n = sizes[1];
    for (int64_t m = 0; m < sizes[0]; m++) {
        const double *load = o->load + m * n, *fade = o->fade + 2 * m * n;
        double w = o->frequency[m], z = o->damping[m], re = o->pole[2 * m], im = o->pole[2 * m + 1], sum[2] = {0.0, 0.0};
        double lag = 2.0 * z / w, before = 0.0, slope = 0.0;
        if (!o->slow[m]) {
            for (int64_t i = m * n; i < (m + 1) * n; i++) o->found[i] = o->load[i], o->rate[i] = 0.0, o->bend[i] = 0.0;
            continue;
        }
        for (int64_t k = 0; k < n; k++) {
            if (k + 1 < n) slope = (load[k + 1] - load[k]) / (o->since[k + 1] - o->since[k]);
            double kink = slope - before, place = kink * lag, speed = -kink, jump[2], part[2];
            if (k == 0) place = o->place[m] - load[0] + lag * slope, speed = o->speed[m] - slope;
            jump[0] = (speed - re * place) / o->turn[m];
            jump[1] = im * place / o->turn[m];
            divided(jump, fade + 2 * k, part);
            sum[0] += part[0], sum[1] += part[1];
            double free_re = sum[0] * fade[2 * k] - sum[1] * fade[2 * k + 1];
            double free_im = sum[0] * fade[2 * k + 1] + sum[1] * fade[2 * k];
            double found = load[k] - lag * slope + free_im, rate = slope + (re * free_im + im * free_re);
            o->found[m * n + k] = found;
            o->rate[m * n + k] = rate;
            o->bend[m * n + k] = w * w * (load[k] - found) - 2.0 * z * w * rate;
            before = slope;
        }
    }
    return n;
}
