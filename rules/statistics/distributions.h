// Normal and Student's t laws. Pure; any thread.
//
// Checked in tests/reference/distributions_test.cpp.
#pragma once

namespace driftline::statistics {

[[nodiscard]] double normal_density(double z);
[[nodiscard]] double normal_probability(double z);  // P(Z <= z), by erfc: full relative precision in the lower tail

// The z with normal_probability(z) == p, to about 1e-15. 0 < p < 1; anything else gives an infinity of its sign.
[[nodiscard]] double normal_quantile(double p);

// P(T <= t) with `degrees` > 0 (fractions allowed), by the continued fraction of the incomplete beta function.
[[nodiscard]] double student_probability(double t, double degrees);
[[nodiscard]] double student_quantile(double p, double degrees);

}  // namespace driftline::statistics
