/*
 * unit.h - units of set-up values, and the conversions that are exact by definition.
 *
 *   mass     g, kg
 *   length   mm, um, inch, in     1 inch = 25.4 mm (international inch, 1959)
 *   force    N, mN, gf, kgf       1 gf = 0.001 kg * g_n, g_n = 9.80665 m/s2 (3rd CGPM, 1901)
 *
 * Any other unit is equal to itself alone. A mass is no force: a gauge that reads grams of force
 * shows gf.
 */
#ifndef RIMGLOW_UNIT_H
#define RIMGLOW_UNIT_H

#include <stdbool.h>

/* *converted gets the value in the unit `to`; false, and nothing changed, where the two units
 * do not convert. converted may be NULL. */
bool rg_unit_convert(double value, const char *from, const char *to, double *converted);

#endif
