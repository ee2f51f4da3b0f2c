/* The shipped strategy slip_band in C, equal to it to the last bit (with -ffp-contract=off).
 *
 * Fill, hold and vent to keep each axle's slip inside a band, against a reference speed that a
 * probe axle founds anew when every axle slides at once. Explained in controllers/slip_band.py and
 * controllers/parts/reference.py; names are theirs.
 */
#include "slipbench.h"

#include <math.h>

enum { FILL_SLIP, VENT_SLIP, LOOK_AHEAD, SLOWING_LIMIT, CUT_OUT_SPEED, PATIENCE, N_PARAMETERS };
enum { SLIP, VENTED }; /* of an axle's memory */
enum {                 /* of the vehicle's memory */
    REFERENCE, PROBED, STEADY_TIME, STEADY_SPEED, UNFOUNDED_TIME, PROBE_TIME, PROBE_SPEED,
    PROBE_ACCELERATION, HAS_SPUN_UP, LAST_PROBED, FOUNDED_SPEED, SINCE_FOUNDED, SLACK, ERROR,
    N_STATE
};

static const double CERTAIN_SPEED = 10.0, UNBRAKED = 0.4, MARGIN = 0.3, RISE = 0.2, NOISE = 0.05;
static const double STEADY = 0.3, ROLLING_AGAIN = 1.0, SHORTEST_PROBE = 0.5, LONGEST_PROBE = 6.0;
static const double FULL_PATIENCE_SPEED = 8.0, DEEP = 0.2, SPINNING = 0.4, PROBE_SMOOTHING = 0.06;
static const double TOOTH = 0.03, SLOWEST_TOLD = 0.5;
static const double LONGEST_VENT = 8.0, SHORTEST_APPLICATION = 1.0, TURNING = 0.5;

static double least(double a, double b) { return b < a ? b : a; }
static double most(double a, double b) { return b > a ? b : a; }

static void note_steadiness(double carried, double highest, double step, double sample_time,
                            double *state)
{
    double steady_time = state[STEADY_TIME] + sample_time;
    double ceiling = state[STEADY_SPEED] + RISE * steady_time + NOISE;
    if (highest < carried - step || highest > ceiling) {
        state[STEADY_TIME] = 0.0;
        state[STEADY_SPEED] = most(highest, carried);
    } else {
        state[STEADY_TIME] = steady_time;
    }
    state[UNFOUNDED_TIME] += sample_time;
    state[SINCE_FOUNDED] += sample_time;
    if (state[STEADY_TIME] >= STEADY) {
        state[UNFOUNDED_TIME] = 0.0;
        state[SINCE_FOUNDED] = 0.0;
        state[FOUNDED_SPEED] = highest;
    }
    if (state[STEADY_TIME] >= ROLLING_AGAIN)
        state[SLACK] = 0.0;
}

static void found(double speed, double slowing_limit, double *state)
{
    if (state[FOUNDED_SPEED] > 0.0 && state[SINCE_FOUNDED] > SHORTEST_PROBE) {
        double slowing = (state[FOUNDED_SPEED] - speed) / state[SINCE_FOUNDED];
        state[SLACK] = most(slowing_limit - most(slowing, 0.0) - MARGIN, 0.0);
    }
    state[FOUNDED_SPEED] = speed;
    state[SINCE_FOUNDED] = 0.0;
}

static int is_probe_due(double reference, double patience, double slowest, const double *state)
{
    patience *= least(most(reference / FULL_PATIENCE_SPEED, 0.25), 1.0);
    return state[UNFOUNDED_TIME] > patience && reference > slowest;
}

static int watch_probe(double speed, double sample_time, double *state)
{
    double raw, share;
    state[PROBE_TIME] += sample_time;
    raw = (speed - state[PROBE_SPEED]) / sample_time;
    share = sample_time / (sample_time + PROBE_SMOOTHING);
    state[PROBE_ACCELERATION] += share * (raw - state[PROBE_ACCELERATION]);
    state[PROBE_SPEED] = speed;
    if (state[PROBE_ACCELERATION] > SPINNING) {
        state[HAS_SPUN_UP] = 1.0;
        return 0;
    }
    if (state[PROBE_ACCELERATION] > 0.25 * SPINNING)
        return 0;
    if (state[HAS_SPUN_UP] == 1.0 && state[PROBE_TIME] > 0.1)
        return 1;
    return state[PROBE_TIME] > SHORTEST_PROBE && speed > 0.0;
}

static void begin_probe(const double *seen, int64_t n_axles, int64_t n_seen, double reference,
                        double *state)
{
    int64_t first = (int64_t)state[LAST_PROBED] - 1 + n_axles;
    int64_t i_axle = (first - 1) % n_axles, i_turn;
    for (i_turn = 0; i_turn < n_axles; i_turn++) {
        int64_t i_tried = (first - 1 - i_turn + n_axles) % n_axles;
        if (seen[i_tried * n_seen + SLIPBENCH_MEASURED_WHEEL_SPEED] > (1.0 - DEEP) * reference) {
            i_axle = i_tried;
            break;
        }
    }
    state[LAST_PROBED] = (double)i_axle + 1.0;
    state[PROBED] = (double)i_axle + 1.0;
    state[PROBE_TIME] = 0.0;
    state[PROBE_SPEED] = seen[i_axle * n_seen + SLIPBENCH_MEASURED_WHEEL_SPEED];
    state[PROBE_ACCELERATION] = 0.0;
    state[HAS_SPUN_UP] = 0.0;
}

static double probed_axle(const double *seen, int64_t n_axles, int64_t n_seen,
                          double slowing_limit, double patience, double slowest, double *state)
{
    double sample_time = seen[SLIPBENCH_SAMPLE_TIME], carried, step, highest = 0.0, reference;
    int64_t i_axle, i_probed;
    slowing_limit = slowing_limit * seen[SLIPBENCH_BRAKE_DEMAND] + UNBRAKED;
    carried = state[REFERENCE] - (slowing_limit - state[SLACK]) * sample_time;
    for (i_axle = 0; i_axle < n_axles; i_axle++)
        highest = most(highest, seen[i_axle * n_seen + SLIPBENCH_MEASURED_WHEEL_SPEED]);
    step = slowing_limit * TOOTH / most(carried, SLOWEST_TOLD);
    note_steadiness(carried, highest, step, sample_time, state);
    reference = most(most(carried, highest), 0.0);
    i_probed = (int64_t)state[PROBED] - 1;
    if (i_probed >= 0) {
        double speed = seen[i_probed * n_seen + SLIPBENCH_MEASURED_WHEEL_SPEED];
        int is_rolling = watch_probe(speed, sample_time, state);
        if (is_rolling) {
            reference = most(speed, highest);
            found(reference, slowing_limit, state);
        }
        if (is_rolling || state[PROBE_TIME] > LONGEST_PROBE) {
            state[PROBED] = 0.0;
            state[UNFOUNDED_TIME] = 0.0;
        }
    } else if (is_probe_due(reference, patience, slowest, state)) {
        begin_probe(seen, n_axles, n_seen, reference, state);
    }
    state[REFERENCE] = reference;
    return reference;
}

static int end_vent(int valve, const double *row, double *vented)
{
    if (*vented < 0.0) {
        if (row[SLIPBENCH_MEASURED_WHEEL_SPEED] > TURNING)
            *vented = least(*vented + row[SLIPBENCH_SAMPLE_TIME], 0.0);
        return SLIPBENCH_FILL;
    }
    if (valve != SLIPBENCH_VENT) {
        *vented = 0.0;
        return valve;
    }
    *vented += row[SLIPBENCH_SAMPLE_TIME];
    if (*vented > LONGEST_VENT) {
        *vented = -SHORTEST_APPLICATION;
        return SLIPBENCH_FILL;
    }
    return SLIPBENCH_VENT;
}

void slipbench_update(const double *observation, int64_t n_axles, int64_t n_observed,
                      const double *parameters, int64_t n_parameters, double *memory,
                      int64_t n_memory, double *command, double *signals, int64_t n_signals)
{
    double sample_time = observation[SLIPBENCH_SAMPLE_TIME];
    double *state = memory + n_axles * n_memory;
    double reference = probed_axle(observation, n_axles, n_observed, parameters[SLOWING_LIMIT],
                                   parameters[PATIENCE], parameters[CUT_OUT_SPEED], state);
    double look_ahead = parameters[LOOK_AHEAD] * least(reference / CERTAIN_SPEED, 1.0);
    int64_t i_axle;
    (void)n_parameters;
    (void)n_signals;
    signals[SLIPBENCH_SLIDE] = 0.0;
    for (i_axle = 0; i_axle < n_axles; i_axle++) {
        const double *row = observation + i_axle * n_observed;
        double *own = memory + i_axle * n_memory;
        double slip = 1.0 - row[SLIPBENCH_MEASURED_WHEEL_SPEED] / most(reference, 0.1);
        double expected = slip + (slip - own[SLIP]) / sample_time * look_ahead;
        int valve = SLIPBENCH_HOLD;
        own[SLIP] = slip;
        if (state[PROBED] == (double)i_axle + 1.0)
            valve = SLIPBENCH_VENT;
        else if (reference < parameters[CUT_OUT_SPEED] || expected < parameters[FILL_SLIP])
            valve = SLIPBENCH_FILL;
        else if (expected > parameters[VENT_SLIP])
            valve = SLIPBENCH_VENT;
        if (slip > parameters[FILL_SLIP])
            signals[SLIPBENCH_SLIDE] = 1.0;
        command[i_axle * SLIPBENCH_N_COMMAND + SLIPBENCH_DEMAND_FACTOR] = 1.0;
        command[i_axle * SLIPBENCH_N_COMMAND + SLIPBENCH_VALVE] = end_vent(valve, row, &own[VENTED]);
    }
}

static const slipbench_parameter PARAMETERS[N_PARAMETERS] = {
    {"fill_slip", 0.12, "-", 0.01, 0.5, "as the built-in"},
    {"vent_slip", 0.4, "-", 0.03, 0.8, "as the built-in"},
    {"look_ahead", 0.05, "s", 0.0, 0.3, "as the built-in"},
    {"slowing_limit", 1.2, "m/s2", 0.8, 4.0, "as the built-in"},
    {"cut_out_speed", 1.0, "m/s", 0.3, 2.5, "as the built-in"},
    {"patience", 2.0, "s", 0.2, 10.0, "as the built-in"},
};

static const slipbench_description DESCRIPTION = {
    "slip_band_c",
    "slip_band, written in C",
    "measured_wheel_speed,brake_demand,sample_time",
    N_STATE,
    N_PARAMETERS,
    PARAMETERS,
    0,
};

SLIPBENCH_EXPORT const int64_t slipbench_abi = SLIPBENCH_ABI;

const slipbench_description *slipbench_describe(void) { return &DESCRIPTION; }
