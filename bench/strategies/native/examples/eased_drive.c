/* A strategy in C that commands the dynamic brake: an example of the door, not a good strategy.
 *
 * On a slide it eases the drive of the axle and vents its cylinder; as long as the drive brakes,
 * friction is left out of it. The reference is the fastest wheel, falling no faster than 1.6 m/s2.
 */
#include "slipbench.h"

enum { SLIDING_FOR, N_AXLE };
enum { EASED_SLIP, VENT_SLIP, N_PARAMETERS };

static const double SLOWING_LIMIT = 1.6, LOW_SPEED = 3.0, LONGEST = 8.0;

static const slipbench_parameter PARAMETERS[N_PARAMETERS] = {
    {"eased_slip", 0.05, "-", 0.01, 0.5, "assumed"},
    {"vent_slip", 0.15, "-", 0.02, 0.9, "assumed"},
};

static const slipbench_description DESCRIPTION = {
    "eased_drive",
    "ease the dynamic brake in proportion to slip, vent above another slip",
    "measured_wheel_speed,sample_time,dynamic_force",
    N_AXLE,
    N_PARAMETERS,
    PARAMETERS,
    0,
};

SLIPBENCH_EXPORT const int64_t slipbench_abi = SLIPBENCH_ABI;
extern SLIPBENCH_EXPORT const int64_t slipbench_commands_dynamic;
SLIPBENCH_EXPORT const int64_t slipbench_commands_dynamic = 1;

SLIPBENCH_EXPORT const slipbench_description *slipbench_describe(void) { return &DESCRIPTION; }

SLIPBENCH_EXPORT void slipbench_update(
    const double *observation, int64_t n_axles, int64_t n_observed,
    const double *parameters, int64_t n_parameters,
    double *memory, int64_t n_memory,
    double *command,
    double *signals, int64_t n_signals)
{
    double *reference = &memory[n_axles * n_memory];
    double sample_time = observation[SLIPBENCH_SAMPLE_TIME];
    double fastest = *reference - SLOWING_LIMIT * sample_time;
    int64_t i;
    (void)n_parameters;
    (void)n_signals;
    for (i = 0; i < n_axles; i++) {
        double speed = observation[i * n_observed + SLIPBENCH_MEASURED_WHEEL_SPEED];
        fastest = speed > fastest ? speed : fastest;
    }
    *reference = fastest;
    signals[SLIPBENCH_SLIDE] = 0.0;
    signals[SLIPBENCH_ISOLATED] = 0.0;
    for (i = 0; i < n_axles; i++) {
        const double *seen = &observation[i * n_observed];
        double *wanted = &command[i * SLIPBENCH_N_COMMAND_DYNAMIC];
        double *own = &memory[i * n_memory];
        double slip = 0.0, left;
        int is_braked_by_drive = seen[SLIPBENCH_DYNAMIC_FORCE] > 0.0;
        if (fastest > LOW_SPEED)
            slip = 1.0 - seen[SLIPBENCH_MEASURED_WHEEL_SPEED] / fastest;
        left = 2.0 - slip / parameters[EASED_SLIP]; /* all of it up to that slip, none at twice */
        wanted[SLIPBENCH_DYNAMIC_FACTOR] = left > 1.0 ? 1.0 : left < 0.0 ? 0.0 : left;
        own[SLIDING_FOR] = slip > parameters[VENT_SLIP] ? own[SLIDING_FOR] + sample_time : 0.0;
        wanted[SLIPBENCH_VALVE] = SLIPBENCH_FILL;
        if (own[SLIDING_FOR] > 0.0 && own[SLIDING_FOR] < LONGEST)
            wanted[SLIPBENCH_VALVE] = is_braked_by_drive ? SLIPBENCH_HOLD : SLIPBENCH_VENT;
        wanted[SLIPBENCH_DEMAND_FACTOR] = 1.0;
        if (own[SLIDING_FOR] > 0.0)
            signals[SLIPBENCH_SLIDE] = 1.0;
    }
}
