/* A train, its brakes and its rail as a unit: the bench's own compiled physics, driven from outside.
 *
 * Controllers sample at instants of their own. A step of communication that ends at such an instant
 * shows what the equipment then sees, and the inputs set before the next step are that sample's
 * commands. Samples inside a step take the inputs as they stand.
 *
 * With one controller (a vehicle, or one for the train) the physics comes back at its samples by
 * itself, and its steps are not cut there: the same bits as in the bench. Several are asked one
 * after the other within a step of the physics, whatever the order of their samples in time; so
 * such steps are cut a moment before each point of communication.
 */
#include "unit.h"

/* Fields of records by their offsets, which model.h holds: W_array, S_array (bytes a row), and
 * F_array_field. */
#define F64(world, array, i, field) (*(double *)((world) + W_##array + (i) * S_##array + F_##array##_##field))
#define I64(world, array, i, field) (*(int64_t *)((world) + W_##array + (i) * S_##array + F_##array##_##field))
#define ROW(world, array, i) ((double *)((world) + W_##array + (i) * S_##array))

typedef void *Null;
extern int slipbench_part(int64_t *result, void **problem, int64_t task, double until,
                          int64_t i_group, WORLD_TYPES);
enum { GO = TASK_GO, OBSERVE = TASK_OBSERVE, ACCEPT = TASK_ACCEPT, ENTER = TASK_ENTER, FINISH = TASK_FINISH };

extern const unsigned char slipbench_image[];
extern const unsigned char slipbench_seeds[];

/* The model's own words in the state's header. */
enum { N_ENTRIES, POSITION, IS_OVER, WAITING, IS_ALIGNED, LEVEL };

static const double SAME_TIME = 1e-9, EARLY = 2e-9;

static int64_t part(State *state, int64_t task, double until, int64_t i_group, int *status)
{
    char *world = model_bytes(state);
    int64_t result = -1, n_entries = state->scratch[N_ENTRIES];
    void *problem = NULL;
    int came_to = slipbench_part(&result, &problem, task, until, i_group, WORLD_ARGUMENTS);
    if (came_to != 0 && came_to != -2)
        *status = ERROR;
    return result;
}

/* The packed world: runs of bytes, each after its place and length; then what a seed changes. */
static void unpack(char *world, int64_t seed)
{
    const unsigned char *at = slipbench_image;
    uint64_t i, n, place, length;
    memset(world, 0, MODEL_SIZE);
    memcpy(&n, at, 8), at += 8;
    for (i = 0; i < n; i++) {
        memcpy(&place, at, 8), memcpy(&length, at + 8, 8), at += 16;
        memcpy(world + place, at, length), at += length;
    }
    at = slipbench_seeds;
    for (;;) {
        memcpy(&n, at, 8), at += 8;
        if (seed-- == 0)
            break;
        at += 16 * n;
    }
    for (i = 0; i < n; i++, at += 16) {
        memcpy(&place, at, 8);
        memcpy(world + place, at + 8, 8);
    }
}

#if HAS_LOAD
/* Loads follow the share of the payload: masses, wheel loads, contact stiffness (Hertz). */
static void set_load(char *world, double load, int64_t seed)
{
    const double *own = unit_masses + seed * N_VEHICLES * 3; /* empty, payload, drawn share */
    double total = 0.0;
    int64_t i, v;
    for (v = 0; v < N_VEHICLES; v++) {
        double share = fmin(fmax(load + own[v * 3 + 2], 0.0), 1.0), mass;
        int64_t first = I64(world, vehicles, v, first_axle), n = I64(world, vehicles, v, n_axles);
        mass = own[v * 3] + share * own[v * 3 + 1]; /* without payload its load is its own */
        F64(world, vehicles, v, body_mass) += mass - F64(world, axles, first, mass_carried) * n;
        if (WEIGHS_LOAD)
            F64(world, vehicles, v, load_factor) = (mass + unit_rotating[v]) / unit_ladens[v];
        F64(world, vehicle_states, v, load_factor) = F64(world, vehicles, v, load_factor);
        for (i = first; i < first + n; i++) {
            double before = F64(world, axles, i, wheel_load), root;
            F64(world, axles, i, mass_carried) = mass / n;
            F64(world, axles, i, wheel_load) = 0.5 * (mass / n) * GRAVITY;
            root = cbrt(F64(world, axles, i, wheel_load) / before);
            F64(world, axles, i, contact_stiffness) *= root * root;
            F64(world, axle_states, i, wheel_load) = F64(world, axles, i, wheel_load);
            F64(world, axle_states, i, contact_stiffness) = F64(world, axles, i, contact_stiffness);
        }
        total += mass;
    }
    F64(world, train, 0, mass) = total;
    for (v = 0; v < N_VEHICLES; v++)
        F64(world, brakes, v, mass) = total;
}
#endif

static void set_speed(char *world, double speed)
{
    double tick = F64(world, train, 0, clock_tick);
    int64_t i;
    F64(world, run, 0, maximum_step) = fmin(
        LONGEST_STEP, fmin(STEP_OVER_SPEED, STEP_OVER_SQUARE * speed) * speed);
    F64(world, train_state, 0, speed) = speed;
    for (i = 0; i < N_AXLES; i++) {
        double since = F64(world, axles, i, pulse_pitch) - F64(world, axle_states, i, next_pulse);
        double time = -since / speed;
        F64(world, axle_states, i, wheel_speed) = speed;
        F64(world, axle_states, i, measured_speed) = speed;
        F64(world, axle_states, i, pulse_time) = time;
        F64(world, axle_states, i, sampled_pulse_time) = tick > 0.0 ? floor(time / tick) * tick : time;
    }
}

static void set_friction(char *world, double scale)
{
    int64_t i;
    for (i = 0; i < N_CELLS; i++) {
        F64(world, cells, i, friction) *= scale;
        F64(world, cells, i, recovered_friction) *= scale;
    }
}

/* What the equipment of the axles in view sees, and the truth beside it. */
static void give_outputs(State *state)
{
    char *world = model_bytes(state);
    double *values = state->values, kinetic, mass = F64(world, train, 0, mass), rotating = 0.0;
    double speed = F64(world, train_state, 0, speed), start = values[V_INITIAL_SPEED], first, spent;
    double brake = 0.0, contact = 0.0, next = HUGE_VAL;
    int64_t i, g;
    for (i = 0; i < N_SHOWN; i++)
        for (g = 0; g < N_SEEN; g++)
            values[unit_seen[g] + i] = ROW(world, observation, FIRST_SHOWN + i)[unit_columns[g]];
    kinetic = 0.5 * mass * speed * speed;
    for (i = 0; i < N_AXLES; i++) {
        double own = F64(world, axles, i, rotating_mass), rim = F64(world, axle_states, i, wheel_speed);
        rotating += own;
        kinetic += 0.5 * own * rim * rim;
        brake += F64(world, axle_states, i, brake_energy) + F64(world, axle_states, i, dynamic_energy);
        contact += F64(world, axle_states, i, contact_energy);
        values[V_TRUE_WHEEL_SPEED + i] = rim;
        values[V_TRUE_PRESSURE + i] = F64(world, axle_states, i, pressure);
        values[V_TRUE_BRAKE_FORCE + i] = F64(world, axle_states, i, brake_force);
        values[V_TRUE_RAIL_FORCE + i] = F64(world, axle_states, i, rail_force);
        values[V_TRUE_LOCKED + i] = (double)I64(world, axle_states, i, is_locked);
    }
    values[V_TRUE_SPEED] = speed;
    values[V_TRUE_DISTANCE] = F64(world, train_state, 0, distance);
    values[V_TRUE_ACCELERATION] = F64(world, train_state, 0, acceleration);
    values[V_TRUE_TIME] = F64(world, train_state, 0, time);
    values[V_STATUS] = (double)I64(world, train_state, 0, status);
    for (g = 0; g < N_GROUPS; g++) {
        double due = F64(world, group_states, g, next_sample);
        int is_now = fabs(due - state->now) <= SAME_TIME && !state->scratch[IS_OVER];
        if (is_now) /* its commands are awaited; its next sample comes a sample time later */
            due = F64(world, groups, g, phase) +
                  (double)(I64(world, group_states, g, n_samples) + 1) *
                      F64(world, groups, g, sample_time);
        next = fmin(next, due);
        if (g >= FIRST_GROUP && g < FIRST_GROUP + N_SHOWN_GROUPS)
            values[V_SAMPLED + g - FIRST_GROUP] = is_now;
    }
    values[V_NEXT_SAMPLE] = next;
    first = 0.5 * (mass + rotating) * start * start;
    spent = brake + contact + F64(world, train_state, 0, resistance_work) +
            F64(world, train_state, 0, gradient_work) + F64(world, train_state, 0, curve_work) +
            F64(world, train_state, 0, track_work);
    values[V_AUDIT_INITIAL] = first;
    values[V_AUDIT_KINETIC] = kinetic;
    values[V_AUDIT_BRAKE] = brake;
    values[V_AUDIT_CONTACT] = contact;
    values[V_AUDIT_OTHER] = spent - brake - contact;
    values[V_AUDIT_RESIDUAL] = (first - kinetic - spent) / first;
}

/* Show at the start what the equipment of all axles sees. Of samples due now that is their own;
 * the others are put back, since a sample is kept by the axles. */
static int observe_first(Unit *unit)
{
    State *state = unit->state;
    char *world = model_bytes(state), *kept = unit->allocate(N_AXLES, S_axle_states);
    int64_t g;
    int status = OK;
    if (kept == NULL)
        return ERROR;
    memcpy(kept, world + W_axle_states, N_AXLES * S_axle_states);
    for (g = 0; g < N_GROUPS; g++)
        part(state, OBSERVE, 0.0, g, &status);
    if (!state->scratch[IS_ALIGNED])
        memcpy(world + W_axle_states, kept, N_AXLES * S_axle_states);
    unit->let_go(kept);
    return status;
}

int model_start(Unit *unit)
{
    State *state = unit->state;
    char *world = model_bytes(state);
    double *values = state->values, seed = values[V_SEED], speed = values[V_INITIAL_SPEED];
    int status = OK;
    int64_t g;
    if (!(seed >= 0.0 && seed < N_SEEDS))
        return unit_fail(unit, "seed is out of its range");
    if (!(speed >= SLOWEST && speed <= FASTEST))
        return unit_fail(unit, "initial_speed is out of its range");
    if (!(values[V_FRICTION_SCALE] > 0.0 && values[V_FRICTION_SCALE] <= 10.0))
        return unit_fail(unit, "friction_scale is out of its range");
    unpack(world, (int64_t)seed);
    memset(state->scratch, 0, sizeof state->scratch);
    state->scratch[N_ENTRIES] = N_PROGRAMME;
    state->scratch[POSITION] = -1;
    state->scratch[IS_ALIGNED] = values[V_ALIGNED] != 0.0;
#if HAS_LOAD
    if (!(values[V_LOAD] >= 0.0 && values[V_LOAD] <= 1.0))
        return unit_fail(unit, "load is out of its range");
    if (values[V_LOAD] != unit_starts[V_LOAD])
        set_load(world, values[V_LOAD], (int64_t)seed);
#endif
    if (speed != unit_starts[V_INITIAL_SPEED])
        set_speed(world, speed);
    if (values[V_FRICTION_SCALE] != 1.0)
        set_friction(world, values[V_FRICTION_SCALE]);
    part(state, ENTER, 0.0, 0, &status);
    for (g = 0; g < N_GROUPS; g++) {
        if (state->scratch[IS_ALIGNED]) {
            F64(world, groups, g, phase) = 0.0;
            F64(world, group_states, g, next_sample) = 0.0;
        }
    }
    state->now = 0.0;
    if (status != OK || observe_first(unit) != OK)
        return unit_fail(unit, "the train cannot be started");
    give_outputs(state);
    return OK;
}

/* Let the handle follow its inputs: a change is an entry of the programme due now. */
static void move_handle(State *state, double time)
{
    char *world = model_bytes(state);
    int64_t *n = &state->scratch[N_ENTRIES], done = I64(world, train_state, 0, n_handled);
    int64_t effective = I64(world, train_state, 0, n_effective);
    double level = -1.0, before, wanted = state->values[V_HANDLE];
    int64_t position = wanted < 0.0 ? -1 : (int64_t)(wanted + 0.5);
#if HAS_LEVEL
    if (state->values[V_LEVEL] >= 0.0) {
        level = fmin(state->values[V_LEVEL], 1.0);
        position = level > 0.0;
    }
#endif
    memcpy(&before, &state->scratch[LEVEL], 8);
    if (state->values[V_EMERGENCY] != 0.0 || position > EMERGENCY_POSITION)
        position = EMERGENCY_POSITION;
    if ((position == state->scratch[POSITION] && level == before) || position < 0)
        return;
    if (done >= ROOM_FOR_ENTRIES) { /* those that act already need not be kept */
        memmove(world + W_handle, world + W_handle + effective * S_handle, (done - effective) * S_handle);
        memmove(ROW(world, effective, 0), ROW(world, effective, effective), (done - effective) * 8);
        I64(world, train_state, 0, n_handled) = done -= effective;
        I64(world, train_state, 0, n_effective) = 0;
        if (done >= ROOM_FOR_ENTRIES)
            return; /* a thousand movements within the brake's delay */
    }
    state->scratch[POSITION] = position;
    memcpy(&state->scratch[LEVEL], &level, 8);
    I64(world, handle, done, trigger) = AT_TIME_TRIGGER;
    F64(world, handle, done, value) = time;
    I64(world, handle, done, position) = position;
    F64(world, handle, done, level) = level;
    I64(world, driver, 0, kind) = HOLD_DRIVER;
    *n = done + 1;
}

/* Hand the inputs to a controller's axles as its commands; ERROR where they are none. */
static int command(Unit *unit, int64_t g)
{
    State *state = unit->state;
    char *world = model_bytes(state);
    int64_t i, k, first = I64(world, groups, g, first_axle), n = I64(world, groups, g, n_axles);
    int status = OK;
    for (i = first; i < first + n; i++) {
        if (i < FIRST_SHOWN || i >= FIRST_SHOWN + N_SHOWN)
            continue; /* its slip control stays at rest */
        for (k = 0; k < N_COMMAND; k++)
            ROW(world, command, i)[k] = state->values[unit_commands[k] + i - FIRST_SHOWN];
    }
    for (k = 0; k < N_SIGNALS; k++)
        ROW(world, signals, g)[k] = 0.0;
    if (g >= FIRST_GROUP && g < FIRST_GROUP + N_SHOWN_GROUPS)
        ROW(world, signals, g)[0] = state->values[V_SLIDE + g - FIRST_GROUP];
    if (part(state, ACCEPT, 0.0, g, &status) >= 0)
        return unit_fail(unit, "a valve is no position, or a demand factor out of its range");
    return status == OK ? OK : unit_fail(unit, "the physics failed");
}

/* Look for all controllers that sample at a point of communication, a moment before it. */
static void observe_due(State *state, int *status)
{
    char *world = model_bytes(state);
    int64_t g;
    for (g = 0; g < N_GROUPS; g++) {
        double due = F64(world, group_states, g, next_sample);
        if (fabs(due - state->now) > SAME_TIME)
            continue;
        F64(world, train_state, 0, clock) = due;
        part(state, OBSERVE, 0.0, g, status);
    }
}

static int comes_back(const State *state) { return N_GROUPS == 1 && !state->scratch[IS_ALIGNED]; }

/* How far the physics is to go: no step under way may be cut short, it may end later. */
static double until_of(State *state)
{
    char *world = model_bytes(state);
    double end = state->now;
    if (comes_back(state)) {
        if (fabs(F64(world, group_states, 0, next_sample) - state->now) <= SAME_TIME)
            return HUGE_VAL;
    } else {
        end -= EARLY;
    }
    if (I64(world, train_state, 0, is_in_step))
        end = fmax(end, F64(world, train_state, 0, time) + F64(world, train_state, 0, step_duration));
    return end;
}

int model_step(Unit *unit, double time, double step)
{
    State *state = unit->state;
    char *world = model_bytes(state);
    int status = OK, is_running;
    move_handle(state, fmax(F64(world, train_state, 0, time), time));
    if (state->scratch[WAITING]) {
        state->scratch[WAITING] = 0;
        status = command(unit, 0);
    }
    state->now = time + step;
    while (status == OK && I64(world, train_state, 0, status) == RUNNING_STATUS) {
        double until = until_of(state);
        int64_t g;
        if (!I64(world, train_state, 0, is_in_step) && F64(world, train_state, 0, time) > until - 1e-11)
            break;
        g = part(state, GO, until, 0, &status);
        if (g < 0 || status != OK)
            break;
        part(state, OBSERVE, 0.0, g, &status);
        if (comes_back(state) && F64(world, train_state, 0, clock) > state->now - SAME_TIME) {
            state->scratch[WAITING] = 1;
            break;
        }
        if (status == OK)
            status = command(unit, g);
    }
    if (state->mode != FAILED && status != OK)
        return unit_fail(unit, "the physics failed");
    is_running = I64(world, train_state, 0, status) == RUNNING_STATUS;
    if (!is_running && !state->scratch[IS_OVER]) {
        state->scratch[IS_OVER] = 1;
        part(state, FINISH, 0.0, 0, &status);
    } else if (is_running && !comes_back(state)) {
        observe_due(state, &status);
    }
    give_outputs(state);
    return status;
}
