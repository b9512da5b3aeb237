#include "reading/course.h"

#include "core/quantile.h"

#include <math.h>

enum { BEAMS = SL_BEAMS };

double sl_course_at(const double *a, int beam)
{
    double x = (beam - 0.5 * BEAMS) / BEAMS;
    return a[0] + a[1] * x + a[2] * x * x;
}

bool sl_course_fit(const float *row, const bool *out, int least, double *a)
{
    double m[3][4] = {{0}};
    int n = 0;
    for (int j = 0; j < BEAMS; j++) {
        if (isnan(row[j]) || (out && out[j]))
            continue;
        double x = (j - 0.5 * BEAMS) / BEAMS, p[3] = {1, x, x * x};
        for (int r = 0; r < 3; r++) {
            for (int c = 0; c < 3; c++)
                m[r][c] += p[r] * p[c];
            m[r][3] += p[r] * (double)row[j];
        }
        n++;
    }
    if (n < least)
        return false;
    for (int r = 1; r < 3; r++) /* a little towards a level line keeps it from bending where few beams are left */
        m[r][r] += 0.01 * n;
    for (int c = 0; c < 3; c++)
        for (int r = 0; r < 3; r++)
            if (r != c) {
                double f = m[r][c] / m[c][c];
                for (int k = 0; k < 4; k++)
                    m[r][k] -= f * m[c][k];
            }
    for (int r = 0; r < 3; r++)
        a[r] = m[r][3] / m[r][r];
    return true;
}

bool sl_course_mend(float *row, int least, double off_rows, double *a)
{
    enum { ROUNDS = 4 };
    bool out[BEAMS] = {false};
    for (int round = 0; round < ROUNDS; round++) {
        double off[BEAMS];
        int count = 0;
        if (!sl_course_fit(row, out, least, a))
            return round > 0;
        for (int j = 0; j < BEAMS; j++)
            if (!isnan(row[j]) && !out[j])
                off[count++] = fabs((double)row[j] - sl_course_at(a, j));
        double limit = fmax(off_rows, 2.5 * sl_quantile_nearest(off, count, 0.5));
        for (int j = 0; j < BEAMS; j++)
            out[j] = !isnan(row[j]) && fabs((double)row[j] - sl_course_at(a, j)) > limit;
    }
    for (int j = 0; j < BEAMS; j++)
        if (out[j])
            row[j] = (float)fmax(1, sl_course_at(a, j));
    return true;
}
