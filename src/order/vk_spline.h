/* Uniform cubic B-splines on unit knots: what the envelopes of the Vold-Kalman filter are written in. */
#ifndef LAYSHAFT_ORDER_VK_SPLINE_H
#define LAYSHAFT_ORDER_VK_SPLINE_H

#define LAY_VK_SUPPORT 4 /* splines that are not zero in one interval */

/* Values of the four splines at s = 0..1 of an interval. */
void lay_vk_basis(double s, double out[LAY_VK_SUPPORT]);
/* Integrals over one interval of the products of their p-th derivatives, p = 1..3. */
void lay_vk_penalty(int p, double out[LAY_VK_SUPPORT][LAY_VK_SUPPORT]);

#endif
