/* What the kernels share. Arrays are contiguous, samples or cells as said beside each; sizes and arrays come as lists. */
#ifndef GRIPMARGIN_CORE_H
#define GRIPMARGIN_CORE_H

#include <math.h>
#include <stdint.h>

#ifdef _WIN32
#define KERNEL __declspec(dllexport) int64_t
#else
#define KERNEL __attribute__((visibility("default"))) int64_t
#endif

/* As numpy's maximum and minimum: what is not a number stays so. */
static inline double larger(double a, double b) { return a != a || a > b ? a : b; }
static inline double smaller(double a, double b) { return a != a || a < b ? a : b; }

static inline double dot(const double *a, const double *b) { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }

static inline void cross(const double *a, const double *b, double *out)
{
    out[0] = a[1] * b[2] - a[2] * b[1];
    out[1] = a[2] * b[0] - a[0] * b[2];
    out[2] = a[0] * b[1] - a[1] * b[0];
}

/* a / b (Smith, Comm. ACM 5(8):435, 1962, from memory): no square of what has faded, which would be nought. */
static inline void divided(const double *a, const double *b, double *out)
{
    int real = fabs(b[0]) >= fabs(b[1]);
    double share = real ? b[1] / b[0] : b[0] / b[1], below = real ? b[0] + b[1] * share : b[0] * share + b[1];
    out[0] = (real ? a[0] + a[1] * share : a[0] * share + a[1]) / below;
    out[1] = (real ? a[1] - a[0] * share : a[1] * share - a[0]) / below;
}

#endif
