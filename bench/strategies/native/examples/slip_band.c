/* The shipped strategy slip_band in C, equal to it to the last bit (with -ffp-contract=off).
 *
 * Fill, hold and vent to keep each axle's slip inside a band, against a reference speed that a
 * probe axle founds anew when every axle slides at once. Explained in controllers/slip_band.py and
 * controllers/parts (wheels.py, reference.py, pulses.py); names are theirs.
 */
#include "slipbench.h"

#include <math.h>

enum { FILL_SLIP, VENT_SLIP, LOOK_AHEAD, SLOWING_LIMIT, CUT_OUT_SPEED, PATIENCE, N_PARAMETERS };
enum { /* of an axle's memory */
    SPEED, ACCELERATION, SCALE, LEARNED_FOR, DOUBTED_FOR, SAME_FOR, LAST, HAS_NO_VOTE, IS_STARTED,
    SLIP, VENTED, N_AXLE
};
enum { /* of the vehicle's memory */
    REFERENCE, PROBED, STEADY_TIME, STEADY_SPEED, UNFOUNDED_TIME, PROBE_TIME, HAS_SPUN_UP,
    LAST_PROBED, FOUNDED_SPEED, SINCE_FOUNDED, SLACK, ERROR, N_STATE
};

static const double CERTAIN_SPEED = 10.0, UNBRAKED = 0.4, MARGIN = 0.1, RISE = 0.2, NOISE = 0.05;
static const double RUN_OUT = 0.003;
static const double ALIKE = 0.03, COASTING_TIME = 0.1;
static const double STEADY = 0.3, ROLLING_AGAIN = 1.0, SHORTEST_PROBE = 0.5, LONGEST_PROBE = 6.0;
static const double FULL_PATIENCE_SPEED = 8.0, DEEP = 0.2, SPINNING = 0.6;
static const double TOOTH = 0.03, SLOWEST_TOLD = 0.5;
static const double LONGEST_VENT = 8.0, SHORTEST_APPLICATION = 1.0, WELL_TURNING = 0.5;
static const double FOLLOWING_TIME = 0.04, HARDEST_SLOWING = 30.0, HARDEST_GAINING = 60.0;
static const double SENSOR_SLACK = 0.1, SLACK_SHARE = 0.004, SLOWEST_SENSED = 0.3;
static const double LONGEST_DOUBT = 0.08, TURNING = 2.0, FROZEN = 0.5, LEARNING_TIME = 2.0;
static const double LARGEST_SCALE = 0.03;

static double least(double a, double b) { return b < a ? b : a; }
static double most(double a, double b) { return b > a ? b : a; }

static void follow(double measured, double sample_time, double *own)
{
    double kept = FOLLOWING_TIME / (FOLLOWING_TIME + sample_time);
    double expected = own[SPEED] + own[ACCELERATION] * sample_time;
    double change = measured - expected;
    double step = most(sample_time, TOOTH / most(own[SPEED], SLOWEST_SENSED));
    double slack = SENSOR_SLACK + SLACK_SHARE * own[SPEED];
    int is_doubtful = change < -(HARDEST_SLOWING * step + slack) ||
                      change > HARDEST_GAINING * step + slack;
    if (is_doubtful && own[DOUBTED_FOR] < LONGEST_DOUBT) {
        own[DOUBTED_FOR] += sample_time;
        own[SPEED] = most(expected, 0.0);
        return;
    }
    if (is_doubtful) {
        own[SPEED] = measured;
        own[ACCELERATION] = 0.0;
        return;
    }
    own[DOUBTED_FOR] = 0.0;
    own[SPEED] = most(expected + (1.0 - kept * kept) * change, 0.0);
    own[ACCELERATION] += (1.0 - kept) * (1.0 - kept) * change / sample_time;
}

static void vote(double raw, double fastest, double sample_time, double *own)
{
    int is_same = raw == own[LAST] && raw > 0.0;
    own[SAME_FOR] = is_same ? least(own[SAME_FOR] + sample_time, 10.0) : 0.0;
    if (own[HAS_NO_VOTE] != 0.0) {
        int is_alive = raw > 0.0 && own[SAME_FOR] == 0.0;
        own[HAS_NO_VOTE] = is_alive ? least(own[HAS_NO_VOTE] + sample_time, 0.0) : -FROZEN;
        if (own[HAS_NO_VOTE] == 0.0)
            own[IS_STARTED] = 0.0;
    } else if (raw == 0.0) {
        int was_dead = own[IS_STARTED] == 0.0 && fastest > TURNING;
        int has_died = own[DOUBTED_FOR] >= LONGEST_DOUBT && own[SPEED] > TURNING;
        if (was_dead || has_died)
            own[HAS_NO_VOTE] = -FROZEN;
    }
    own[LAST] = raw;
}

static void learn_diameters(const double *seen, int64_t n_axles, int64_t n_seen, double *memory,
                            int64_t n_memory)
{
    double sample_time = seen[SLIPBENCH_SAMPLE_TIME];
    double total = 0.0, n_voting = 0.0, fastest = 0.0, mean;
    int64_t i;
    for (i = 0; i < n_axles; i++)
        fastest = most(fastest, memory[i * n_memory + SPEED]);
    for (i = 0; i < n_axles; i++) {
        const double *own = memory + i * n_memory;
        if (own[HAS_NO_VOTE] == 0.0) {
            if (own[SPEED] < (1.0 - LARGEST_SCALE) * fastest || own[DOUBTED_FOR] > 0.0)
                return;
            total += seen[i * n_seen + SLIPBENCH_MEASURED_WHEEL_SPEED];
            n_voting += 1.0;
        }
    }
    if (n_voting < 2.0 || fastest < TURNING)
        return;
    mean = total / n_voting;
    for (i = 0; i < n_axles; i++) {
        double *own = memory + i * n_memory, raw = seen[i * n_seen + SLIPBENCH_MEASURED_WHEEL_SPEED];
        if (own[HAS_NO_VOTE] == 0.0 && raw > 0.5 * mean) {
            double share, scale = mean / raw - 1.0;
            own[LEARNED_FOR] = least(own[LEARNED_FOR] + sample_time, LEARNING_TIME);
            share = sample_time / own[LEARNED_FOR];
            own[SCALE] += least(share, 1.0) * (scale - own[SCALE]);
            own[SCALE] = least(most(own[SCALE], -LARGEST_SCALE), LARGEST_SCALE);
        }
    }
}

static void stand_in(int64_t n_axles, double *memory, int64_t n_memory)
{
    double speed = 0.0, acceleration = 0.0, n_voting = 0.0;
    int64_t i;
    for (i = 0; i < n_axles; i++) {
        const double *own = memory + i * n_memory;
        if (own[HAS_NO_VOTE] == 0.0) {
            speed += own[SPEED];
            acceleration += own[ACCELERATION];
            n_voting += 1.0;
        }
    }
    for (i = 0; i < n_axles; i++) {
        double *own = memory + i * n_memory;
        if (own[HAS_NO_VOTE] != 0.0) {
            own[SPEED] = speed / most(n_voting, 1.0);
            own[ACCELERATION] = acceleration / most(n_voting, 1.0);
        }
    }
}

static void sense_wheels(const double *seen, int64_t n_axles, int64_t n_seen, double *memory,
                         int64_t n_memory)
{
    double sample_time = seen[SLIPBENCH_SAMPLE_TIME], fastest = 0.0;
    int64_t i, n_frozen = 0;
    for (i = 0; i < n_axles; i++)
        fastest = most(fastest, seen[i * n_seen + SLIPBENCH_MEASURED_WHEEL_SPEED]);
    for (i = 0; i < n_axles; i++) {
        double *own = memory + i * n_memory, raw = seen[i * n_seen + SLIPBENCH_MEASURED_WHEEL_SPEED];
        double measured;
        vote(raw, fastest, sample_time, own);
        if (own[SAME_FOR] > FROZEN)
            n_frozen++;
        measured = raw * (1.0 + own[SCALE]);
        if (own[IS_STARTED] == 0.0) {
            own[IS_STARTED] = 1.0;
            own[SPEED] = measured;
            own[ACCELERATION] = 0.0;
        } else {
            follow(measured, sample_time, own);
        }
    }
    for (i = 0; i < n_axles; i++) {
        double *own = memory + i * n_memory;
        if (own[SAME_FOR] > FROZEN && 2 * n_frozen <= n_axles && own[LAST] > TURNING)
            own[HAS_NO_VOTE] = -FROZEN;
    }
    if (seen[SLIPBENCH_BRAKE_DEMAND] <= 0.0)
        learn_diameters(seen, n_axles, n_seen, memory, n_memory);
    stand_in(n_axles, memory, n_memory);
}

static void note_steadiness(double carried, double highest, double step, double sample_time,
                            double *state)
{
    double steady_time = state[STEADY_TIME] + sample_time;
    double noise = RUN_OUT * carried;
    double ceiling = state[STEADY_SPEED] + RISE * steady_time + NOISE + noise;
    if (highest < carried - step - noise || highest > ceiling) {
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

static int watch_probe(const double *own, double sample_time, double *state)
{
    state[PROBE_TIME] += sample_time;
    if (own[ACCELERATION] > SPINNING) {
        state[HAS_SPUN_UP] = 1.0;
        return 0;
    }
    if (own[ACCELERATION] > 0.25 * SPINNING)
        return 0;
    if (state[HAS_SPUN_UP] == 1.0 && state[PROBE_TIME] > 0.1)
        return 1;
    return state[PROBE_TIME] > SHORTEST_PROBE && own[SPEED] > 0.0;
}

static void begin_probe(const double *memory, int64_t n_axles, int64_t n_memory, double reference,
                        double *state)
{
    int64_t first = (int64_t)state[LAST_PROBED] - 1 + n_axles;
    int64_t i_axle = (first - 1) % n_axles, i_turn;
    for (i_turn = 0; i_turn < n_axles; i_turn++) {
        int64_t i_tried = (first - 1 - i_turn + n_axles) % n_axles;
        if (memory[i_tried * n_memory + SPEED] > (1.0 - DEEP) * reference) {
            i_axle = i_tried;
            break;
        }
    }
    state[LAST_PROBED] = (double)i_axle + 1.0;
    state[PROBED] = (double)i_axle + 1.0;
    state[PROBE_TIME] = 0.0;
    state[HAS_SPUN_UP] = 0.0;
}

/* The reference, drawn to the mean of all wheels while the train coasts. */
static double coasted(double reference, const double *seen, int64_t n_axles, const double *memory,
                      int64_t n_memory)
{
    double total = 0.0, lowest = memory[SPEED], highest = 0.0, share;
    int64_t i_axle;
    if (seen[SLIPBENCH_BRAKE_DEMAND] > 0.0)
        return reference;
    for (i_axle = 0; i_axle < n_axles; i_axle++) {
        double speed = memory[i_axle * n_memory + SPEED];
        total += speed;
        lowest = least(lowest, speed);
        highest = most(highest, speed);
    }
    if (lowest < (1.0 - ALIKE) * highest)
        return reference; /* a wheel slides yet */
    share = seen[SLIPBENCH_SAMPLE_TIME] / (seen[SLIPBENCH_SAMPLE_TIME] + COASTING_TIME);
    return reference + share * (total / (double)n_axles - reference);
}

static double probed_axle(const double *seen, int64_t n_axles, double slowing_limit,
                          double patience, double slowest, double *memory, int64_t n_memory)
{
    double sample_time = seen[SLIPBENCH_SAMPLE_TIME], carried, step, highest = 0.0, reference;
    double *state = memory + n_axles * n_memory;
    int64_t i_axle, i_probed;
    slowing_limit = slowing_limit * seen[SLIPBENCH_BRAKE_DEMAND] + UNBRAKED;
    carried = state[REFERENCE] - (slowing_limit - state[SLACK]) * sample_time;
    for (i_axle = 0; i_axle < n_axles; i_axle++)
        highest = most(highest, memory[i_axle * n_memory + SPEED]);
    step = slowing_limit * TOOTH / most(carried, SLOWEST_TOLD);
    note_steadiness(carried, highest, step, sample_time, state);
    reference = most(most(carried, highest), 0.0);
    i_probed = (int64_t)state[PROBED] - 1;
    if (i_probed >= 0) {
        int is_rolling = watch_probe(memory + i_probed * n_memory, sample_time, state);
        if (is_rolling) {
            reference = highest;
            found(reference, slowing_limit, state);
        }
        if (is_rolling || state[PROBE_TIME] > LONGEST_PROBE) {
            state[PROBED] = 0.0;
            state[UNFOUNDED_TIME] = 0.0;
        }
    } else if (is_probe_due(reference, patience, slowest, state)) {
        begin_probe(memory, n_axles, n_memory, reference, state);
    }
    reference = coasted(reference, seen, n_axles, memory, n_memory);
    state[REFERENCE] = reference;
    return reference;
}

static int end_vent(int valve, double speed, double sample_time, double *vented)
{
    if (*vented < 0.0) {
        if (speed > WELL_TURNING)
            *vented = least(*vented + sample_time, 0.0);
        return SLIPBENCH_FILL;
    }
    if (valve != SLIPBENCH_VENT) {
        *vented = 0.0;
        return valve;
    }
    *vented += sample_time;
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
    double reference, look_ahead;
    int64_t i_axle;
    (void)n_parameters;
    (void)n_signals;
    sense_wheels(observation, n_axles, n_observed, memory, n_memory);
    reference = probed_axle(observation, n_axles, parameters[SLOWING_LIMIT], parameters[PATIENCE],
                            parameters[CUT_OUT_SPEED], memory, n_memory);
    look_ahead = parameters[LOOK_AHEAD] * least(reference / CERTAIN_SPEED, 1.0);
    signals[SLIPBENCH_SLIDE] = 0.0;
    for (i_axle = 0; i_axle < n_axles; i_axle++) {
        double *own = memory + i_axle * n_memory;
        double slip = 1.0 - own[SPEED] / most(reference, 0.1);
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
        command[i_axle * SLIPBENCH_N_COMMAND + SLIPBENCH_VALVE] = end_vent(valve, own[SPEED], sample_time, &own[VENTED]);
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
    N_STATE, /* an axle needs one less */
    N_PARAMETERS,
    PARAMETERS,
    0,
};

SLIPBENCH_EXPORT const int64_t slipbench_abi = SLIPBENCH_ABI;

const slipbench_description *slipbench_describe(void) { return &DESCRIPTION; }
