#include "support/diagnosis.h"

rg_diagnosis_options test_diagnosis_options(void)
{
    return (rg_diagnosis_options){.shape = {.correlation_deg = 10,
                                            .common_share = 0.3,
                                            .u_floor_mm = 0.0005,
                                            .uneven_mm = 0.003,
                                            .least_open_deg = 15,
                                            .fixed_u_mm = 0.01,
                                            .significance = 0.01,
                                            .press_mm = 0.5,
                                            .coverage_factor = 2,
                                            .local_least_deg = 3,
                                            .local_most_deg = 40},
                                  .fault_share = 0.5,
                                  .hinge_deg = 15,
                                  .dirt_deg = 30,
                                  .twin_deg = 15,
                                  .same_deg = 5,
                                  .round_mm = 0.01,
                                  .shim_most_mm = 0.3,
                                  .replace_most_mm = 0.1};
}
