/* Rows of numbers, straight between their places: as numpy's `interp` has them, all rows with one search. */
#include "core.h"

typedef struct {
    const double *t, *told, *rows; /* (m,), increasing (n,), (r, n) */
    double *out;                   /* (r, m) */
} Rows;

/* sizes: r, n (1 or more), m. */
KERNEL straight_between(const int64_t *sizes, void *const *arrays)
{
    const Rows *o = (const Rows *)(const void *)arrays;
    int64_t r = sizes[0], n = sizes[1], m = sizes[2], j = 0;
    for (int64_t k = 0; k < m; k++) {
        double t = o->t[k];
        while (j + 1 < n && t >= o->told[j + 1]) j++;
        while (j > 0 && t < o->told[j]) j--;
        int there = !(t > o->told[j]) || j + 1 == n; /* at a place, or beyond all of them */
        double since = t - o->told[j], step = there ? 1.0 : o->told[j + 1] - o->told[j];
        for (int64_t i = 0; i < r; i++) {
            const double *row = o->rows + i * n + j;
            double found = there ? row[0] : (row[1] - row[0]) / step * since + row[0];
            if (!there && found != found) {
                found = (row[1] - row[0]) / step * (t - o->told[j + 1]) + row[1];
                if (found != found && row[0] == row[1]) found = row[0];
            }
            o->out[i * m + k] = t != t && n > 1 ? t : found; /* of one place alone `interp` does not look at t */
        }
    }
    return m;
}

typedef struct {
    const double *table;                    /* (3, n, k) */
    const int64_t *near;                    /* (p, m) */
    const double *share, *second, *third;   /* (p, m) each */
    double *out;                            /* (p, k, m) */
} Tables;

/* The sum of three tables times factors, 1 for the first, straight between rows; sizes: n, k, p, m. */
KERNEL tables_between(const int64_t *sizes, void *const *arrays)
{
    const Tables *o = (const Tables *)(const void *)arrays;
    int64_t n = sizes[0], k = sizes[1], m = sizes[3];
    for (int64_t p = 0; p < sizes[2]; p++) {
        for (int64_t j = 0, at = p * m; j < m; j++, at++) {
            double factors[3] = {1.0, o->second[at], o->third[at]}, share = o->share[at];
            for (int64_t i = 0; i < k; i++) {
                double sum = 0.0;
                for (int64_t f = 0; f < 3; f++) {
                    const double *row = o->table + (f * n + o->near[at]) * k + i;
                    sum += factors[f] * (1.0 - share) * row[0];
                    sum += factors[f] * share * row[k];
                }
                o->out[(p * k + i) * m + j] = sum;
            }
        }
    }
    return m;
}
