// A fast Fourier transform, for spectra of events.
#pragma once

#include <complex>
#include <vector>

namespace hopbench {

/// In place; the size is a power of two. (J. W. Cooley, J. W. Tukey, Mathematics of Computation 19 (1965) 297.)
void transform(std::vector<std::complex<double>>& values);

}  // namespace hopbench
