#include "support/diagnosis.h"

#include "support/shape.h"

rg_diagnosis_options test_diagnosis_options(void)
{
    return (rg_diagnosis_options){.shape = test_shape_options,
                                  .fault_share = 0.5,
                                  .hinge_deg = 15,
                                  .dirt_deg = 30,
                                  .twin_deg = 15,
                                  .same_deg = 5,
                                  .round_mm = 0.01,
                                  .shim_most_mm = 0.3,
                                  .replace_most_mm = 0.1};
}
