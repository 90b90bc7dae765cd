#include "vk_spline.h"

void lay_vk_basis(double s, double out[LAY_VK_SUPPORT]) {
    double r = 1 - s, s2 = s * s, s3 = s2 * s;
    out[0] = r * r * r / 6;
    out[1] = (3 * s3 - 6 * s2 + 4) / 6;
    out[2] = (-3 * s3 + 3 * s2 + 3 * s + 1) / 6;
    out[3] = s3 / 6;
}

void lay_vk_penalty(int p, double out[LAY_VK_SUPPORT][LAY_VK_SUPPORT]) {
    double c[LAY_VK_SUPPORT][4] = {/* of 1, s, s^2, s^3 */
                                   {1. / 6, -1. / 2, 1. / 2, -1. / 6},
                                   {4. / 6, 0, -1, 1. / 2},
                                   {1. / 6, 1. / 2, 1. / 2, -1. / 2},
                                   {0, 0, 0, 1. / 6}};
    for (int k = 0; k < p; k++)
        for (int i = 0; i < LAY_VK_SUPPORT; i++) {
            for (int d = 0; d < 3; d++) c[i][d] = (d + 1) * c[i][d + 1];
            c[i][3] = 0;
        }
    for (int i = 0; i < LAY_VK_SUPPORT; i++)
        for (int j = 0; j < LAY_VK_SUPPORT; j++) {
            out[i][j] = 0;
            for (int a = 0; a < 4; a++)
                for (int b = 0; b < 4; b++) out[i][j] += c[i][a] * c[j][b] / (a + b + 1);
        }
}
