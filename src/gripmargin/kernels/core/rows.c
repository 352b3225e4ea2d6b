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
