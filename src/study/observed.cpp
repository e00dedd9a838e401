#include "study/observed.h"
