/* Free vibrations and responses of oscillators: as in kernels/oscillator.py, which says why. n samples, the last axis. */
#include "core.h"

/* exp of a complex number; of a real one it is the real one. */
static void turned_and_faded(double re, double im, double *out)
{
    double size = exp(re);
    out[0] = im == 0.0 ? size : size * cos(im);
    out[1] = im == 0.0 ? 0.0 : size * sin(im);
}

static void times(const double *a, const double *b, double *out)
{
    double re = a[0] * b[0] - a[1] * b[1], im = a[0] * b[1] + a[1] * b[0];
    out[0] = re, out[1] = im;
}

typedef struct {
    const double *t, *jumps, *pole, *faded; /* (n,), (n,) complex, (1,) complex, (1,) */
    double *out;                            /* (n,) complex */
} Sum;

/* The sum of all jumps so far, each turned and faded for the time since; sizes: n. */
KERNEL fading_sum(const int64_t *sizes, void *const *arrays)
{
    const Sum *o = (const Sum *)(const void *)arrays;
    double re = o->pole[0], im = o->pole[1], span = -1.0, begun = 0.0, before[2] = {0.0, 0.0}, sum[2] = {0.0, 0.0};
    for (int64_t k = 0; k < sizes[0]; k++) {
        double here = floor((o->t[0] - o->t[k]) * re / o->faded[0]), turn[2], part[2];
        if (here != span) { /* what has gone on for too long begins anew from its sum */
            double step = k > 0 ? o->t[k] - o->t[k - 1] : 0.0;
            turned_and_faded(re * step, im * step, turn);
            if (k > 0) times(o->out + 2 * (k - 1), turn, before);
            span = here, begun = o->t[k], sum[0] = 0.0, sum[1] = 0.0;
        }
        turned_and_faded(re * (o->t[k] - begun), im * (o->t[k] - begun), turn);
        divided(o->jumps + 2 * k, turn, part);
        for (int j = 0; j < 2; j++) sum[j] += part[j], part[j] = before[j] + sum[j];
        times(part, turn, o->out + 2 * k);
    }
    return sizes[0];
}

typedef struct {
    const double *load, *slope, *later, *vibration, *lag, *pole; /* (k, n) twice, (n,), (k, n) complex, (k,), (k,) complex */
    double *out;                                                 /* (k, n) */
} Response;

/* The response some time after each sample; sizes: k, n. */
KERNEL response(const int64_t *sizes, void *const *arrays)
{
    const Response *o = (const Response *)(const void *)arrays;
    for (int64_t m = 0; m < sizes[0]; m++) {
        for (int64_t k = 0, i = m * sizes[1]; k < sizes[1]; k++, i++) {
            double turn[2], later = o->later[k];
            turned_and_faded(o->pole[2 * m] * later, o->pole[2 * m + 1] * later, turn);
            times(o->vibration + 2 * i, turn, turn);
            o->out[i] = o->load[i] + o->slope[i] * later - o->lag[m] * o->slope[i] + turn[1];
        }
    }
    return sizes[1];
}
