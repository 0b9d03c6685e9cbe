#include "support/quiz.h"

rg_quiz_options test_quiz_options(void)
{
    return (rg_quiz_options){.classes = 6,
                             .upto_mm = {0, 0.025, 0.05, 0.10, 0.20},
                             .least_mm = 0.012,
                             .widest_mm = 0.35,
                             .press_most_mm = 0.4,
                             .overhang_mm = 1.5,
                             .hinge_deg = 15,
                             .hinge_apart_deg = 12,
                             .crease_least_deg = 9,
                             .crease_most_deg = 20,
                             .views = 3,
                             .height_share = 0.8,
                             .facing_deg = {10, 55},
                             .height_deg = {0.3, 6},
                             .other_high_deg = {0.5, 8},
                             .inside_share = {0.3, 0.05},
                             .uneven = {0, 0.5},
                             .streaks = {0, 3},
                             .glare = {0, 0.06},
                             .dim = {1, 0.4},
                             .streak_width_deg = 6,
                             .streak_light = 0.25,
                             .streak_low_mm = -6,
                             .streak_high_mm = -0.4,
                             .bearing_least_deg = 10,
                             .extent_share = 0.5,
                             .levels = 10,
                             .first_level = 2,
                             .first_step = 1,
                             .step = 0.5,
                             .right_in_row = 2,
                             .coarse_reversals = 2,
                             .window = 20,
                             .exam_cases = 28,
                             .exam_level = 4,
                             .pass_share = 0.7,
                             .confidence = 0.95};
}

rg_quiz_answer test_quiz_right(const rg_quiz_truth *truth)
{
    return (rg_quiz_answer){truth->where, truth->bearings ? truth->bearing_deg[0] : 0,
                            truth->width_class, truth->cause};
}

rg_quiz_answer test_quiz_wrong(const rg_quiz_options *options, const rg_quiz_truth *truth)
{
    return (rg_quiz_answer){truth->where == RG_QUIZ_NOWHERE ? RG_QUIZ_ROUND : RG_QUIZ_NOWHERE, 0,
                            (truth->width_class + 1) % options->classes,
                            (rg_quiz_cause)((truth->cause + 1) % RG_QUIZ_CAUSES)};
}
