#!/bin/sh
# usage: no_libm.sh LIBRARY...
# A decision that hangs on the last bit of a library logarithm would make the same seed give other records on another
# processor. So the libraries that decide must not call the mathematics library at all.
found=$(for library in "$@"; do
  nm --undefined-only "$library" 2>/dev/null |
    awk -v library="$library" '$1 == "U" && $2 ~ /^(exp|exp2|expm1|log|log2|log10|log1p|pow|sqrt|cbrt|sin|cos|tan|tanh|sinh|cosh|atan|atan2|hypot|erf|lgamma|tgamma|fmod|nearbyint|rint|round|floor|ceil)[fl]?$/ {print library ": " $2}'
done)
if [ -n "$found" ]; then
  echo "calls into the mathematics library:"
  echo "$found"
  exit 1
fi
