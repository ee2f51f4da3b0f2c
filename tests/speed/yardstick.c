/* bench/kernel's scheme in plain C, as a yardstick for its speed: a benchmark, no product.
 *
 * The same scheme, plainly: two-stage SDIRK per wheelset with a bracketed Newton solve that ends
 * when its last step was short, Polach's law with falling friction, pieces cut at samples, cell
 * borders, valve commands, ends of pressure ramps, lock and re-spin; cells read on entering and
 * committed on leaving; ISO 6358 air; toothed wheels; samples inside the step; load transfer; the
 * tallies a campaign's summary needs. What bench/kernel does to be faster is not in here: axles that
 * run ahead of samples, the tangent of the stage before, peaks followed from the last one, and axles
 * moved together, in vector instructions, with an exponential and an arctangent to match. The
 * strategy is bench/native/examples/slip_band.c. Names are those of the kernel, where each piece is
 * explained; the structs come from `records.h`, which tests/speed/against_c.py writes from
 * slipbench.kernel.records.
 *
 * Left out, since it is not on in the yardstick's stop (against_c.py refuses a stop where it is):
 * gradients, curves, faults, sanders and sand, redeposition, broken wires, the isolation button, a
 * continuous or easing driver, given pressure rates, valves shared by a bogie, tread blocks, pads
 * whose friction depends on speed or heat, tooth errors, tables of other creep laws, traces. Left
 * out though it is on: the log and trail of locks and the heat under them (a few locks a stop).
 */
#include <math.h>
#include <stdint.h>

#include "records.h"
#include "slipbench.h"

static const double NO_TIME = 1e-11, AT_REST = 5e-3, LOW_SPEED = 2.68224;
static const double SLOWEST = 1e-3, LONGEST_FALL = 0.25, JERK_TIME = 0.5, PITCH_TIME = 0.25;
static const double SPEEDOMETER_TOLERANCE = 2.2352, SAME_TIME = 1e-10;
static const double GAS_CONSTANT = 287.05, TEMPERATURE = 293.15, ATMOSPHERE = 101325.0;
static const double REFERENCE_DENSITY = 1.185, REFERENCE_TEMPERATURE = 293.15;
enum { FILL, HOLD, VENT };
enum { RUNNING, STOPPED, TOO_FAR, TOO_LONG, BROKEN };
enum { QUEUE_LENGTH = 16, SLIDE_BANDS = 6, SPEED_BANDS = 10, N_OBSERVED = 11, N_MEASURED = 4 };
#define GAMMA 0.29289321881345243 /* 1 - sqrt(1/2) */
#define PI 3.141592653589793

static double piece_heat; /* of the contact, in the last piece [J] */

typedef struct {
    RUN *run;
    TRAIN *train;
    AXLE *axles;
    int64_t n_axles;
    CELL *cells;
    int64_t n_cells;
    GROUP *groups;
    int64_t n_groups;
    HANDLE *handle;
    int64_t n_handle;
    VEHICLE *vehicles;
    int64_t n_vehicles;
    double *demand_table;
    TRAIN_STATE *train_state;
    AXLE_STATE *axle_states;
    VEHICLE_STATE *vehicle_states;
    GROUP_STATE *group_states;
    double *rail_work, *histogram, *effective, *observation, *command, *signals;
    int64_t n_signals;
    double *parameters;
    int64_t n_parameters;
    double *memory;
    int64_t n_memory;
} World;

typedef struct {
    double spent, wheel_1, force_1, wheel_2, force_2;
} Piece;

static double least(double a, double b) { return b < a ? b : a; }
static double most(double a, double b) { return b > a ? b : a; }

/* ---- creep ---- */

static double creep_force(double slip_speed, double train_speed, const AXLE_STATE *state,
                          double *slope_out)
{
    double creepage_slope = 1.0 / most(train_speed, SLOWEST);
    double friction = state->friction, friction_slope = 0.0;
    double limit, tau_slope, tau, gradient, adhering, sliding, below, ratio, slope;
    if (state->friction_ratio < 1.0) {
        double fading = state->friction * (1.0 - state->friction_ratio)
                        * exp(-state->friction_decay * fabs(slip_speed));
        friction = state->friction * state->friction_ratio + fading;
        friction_slope = -state->friction_decay * fading;
    }
    if (slip_speed < 0.0)
        friction_slope = -friction_slope;
    limit = state->wheel_load * friction;
    tau_slope = state->contact_stiffness * creepage_slope / limit;
    tau = tau_slope * slip_speed;
    gradient = 0.25 * PI * tau;
    adhering = state->adhesion_reduction * gradient;
    sliding = state->slip_reduction * gradient;
    below = 1.0 / (1.0 + adhering * adhering);
    ratio = 2.0 / PI * (adhering * below + atan(sliding));
    slope = state->adhesion_reduction * (2.0 * below - 1.0) * below;
    slope += state->slip_reduction / (1.0 + sliding * sliding);
    slope *= 0.5;
    *slope_out = 2.0 * limit * slope * tau_slope
                 + 2.0 * state->wheel_load * friction_slope * (ratio - tau * slope);
    return 2.0 * limit * ratio;
}

static double slope_at(double log_slip, double speed, const AXLE_STATE *state)
{
    double slope;
    creep_force(exp(log_slip), speed, state, &slope);
    return slope;
}

static void bracket_peak(double speed, const AXLE_STATE *state, double *low, double *high)
{
    double octave = log(2.0), fastest = log(speed);
    int i;
    if (state->peak_creepage > 0.0) {
        double near = log(state->peak_creepage * speed);
        if (slope_at(near - 0.1, speed, state) > 0.0 && slope_at(near + 0.1, speed, state) < 0.0) {
            *low = near - 0.1;
            *high = near + 0.1;
            return;
        }
    }
    for (i = 16; i >= 0; i--) {
        if (slope_at(fastest - i * octave, speed, state) < 0.0) {
            *low = fastest - (i + 1) * octave;
            *high = fastest - i * octave;
            return;
        }
    }
    *low = *high = fastest;
}

static double find_peak(double train_speed, const AXLE_STATE *state, double *creepage)
{
    double speed = most(train_speed, SLOWEST), slope, low, high, low_slope, high_slope, middle;
    double locked_force = creep_force(speed, speed, state, &slope), force, slip_speed;
    int side = 0, i;
    *creepage = 1.0;
    if (state->friction_ratio >= 1.0 || state->friction_decay == 0.0)
        return locked_force;
    bracket_peak(speed, state, &low, &high);
    if (low == high)
        return locked_force;
    low_slope = slope_at(low, speed, state);
    high_slope = slope_at(high, speed, state);
    middle = low;
    for (i = 0; i < 80; i++) {
        double before = middle, share = low_slope / (low_slope - high_slope);
        middle = low + least(most(share, 0.02), 0.98) * (high - low);
        slope = slope_at(middle, speed, state);
        if (slope > 0.0) {
            low = middle;
            low_slope = slope;
            high_slope *= side == 1 ? 0.5 : 1.0;
            side = 1;
        } else {
            high = middle;
            high_slope = slope;
            low_slope *= side == -1 ? 0.5 : 1.0;
            side = -1;
        }
        if (high - low < 1e-4 || fabs(middle - before) < 1e-5)
            break;
    }
    slip_speed = exp(middle);
    force = creep_force(slip_speed, speed, state, &slope);
    if (force < locked_force)
        return locked_force;
    *creepage = slip_speed / speed;
    return force;
}

static double peak_met(double train_speed, AXLE_STATE *state)
{
    if (state->peak_speed < 0.0
        || fabs(train_speed - state->peak_speed) > 0.01 * state->peak_speed
        || fabs(state->friction - state->peak_friction) > 0.01 * state->peak_friction) {
        double creepage, force = find_peak(train_speed, state, &creepage);
        state->peak_creepage = creepage;
        state->peak_ratio = force / (state->wheel_load * state->friction);
        state->peak_speed = train_speed;
        state->peak_friction = state->friction;
    }
    return state->peak_ratio * state->wheel_load * state->friction;
}

/* ---- wheelset ---- */

static double longest_piece(const AXLE *axle, const AXLE_STATE *state)
{
    double steepest = state->friction * (1.0 - state->friction_ratio) * state->friction_decay;
    double fall = 2.0 * state->wheel_load * steepest * 1.415;
    return fall <= 0.0 ? INFINITY : LONGEST_FALL * axle->rotating_mass / fall;
}

static double solve_stage(double base, double weight, double brake_force, double train_speed,
                          double guess, const AXLE_STATE *state)
{
    double spread = 4.0 / PI * (0.5 + 0.5 * PI) * state->wheel_load * state->friction;
    double low = base - weight * (brake_force + spread);
    double high = base - weight * (brake_force - spread);
    double wheel_speed = least(most(guess, low), high);
    double last = 2.0 * (high - low), before_last = last;
    int i;
    for (i = 0; i < 100; i++) {
        double slip_speed = train_speed - wheel_speed, slope;
        double force = creep_force(slip_speed, train_speed, state, &slope);
        double residual = wheel_speed - base - weight * (force - brake_force);
        double change = -residual / (1.0 + weight * slope), tried = wheel_speed + change;
        if (residual > 0.0)
            high = wheel_speed;
        else
            low = wheel_speed;
        if (!(low <= tried && tried <= high) || fabs(change) > 0.5 * before_last) {
            tried = 0.5 * (low + high);
            change = tried - wheel_speed;
        }
        before_last = last;
        last = fabs(change);
        wheel_speed = tried;
        if (fabs(change) <= 1e-4 * least(fabs(slip_speed), fabs(train_speed - tried))
                                + 2e-15 * (1.0 + train_speed))
            break;
    }
    return wheel_speed;
}

static Piece spin(double duration, double speed, double acceleration, double brake_force,
                  double brake_rate, const AXLE *axle, const AXLE_STATE *state)
{
    double weight = GAMMA * duration / axle->rotating_mass;
    double speed_1 = speed + acceleration * GAMMA * duration;
    double brake_1 = brake_force + brake_rate * GAMMA * duration;
    double start = state->wheel_speed;
    double wheel_1 = solve_stage(start, weight, brake_1, speed_1, speed_1 - speed + start, state);
    double net_1 = (wheel_1 - start) / weight;
    double base = start + (1.0 - GAMMA) * duration / axle->rotating_mass * net_1;
    double speed_2 = speed + acceleration * duration;
    double brake_2 = brake_force + brake_rate * duration;
    double wheel_2 = solve_stage(base, weight, brake_2, speed_2, speed_2 - speed_1 + wheel_1, state);
    Piece piece = {duration, wheel_1, net_1 + brake_1, wheel_2, (wheel_2 - base) / weight + brake_2};
    return piece;
}

static Piece spin_until_locked(double duration, double speed, double acceleration,
                               double brake_force, double brake_rate, const AXLE *axle,
                               AXLE_STATE *state)
{
    Piece piece = spin(duration, speed, acceleration, brake_force, brake_rate, axle, state);
    double low = 0.0, high = duration, low_end = state->wheel_speed, high_end = piece.wheel_2;
    double spent = duration;
    int i;
    if (piece.wheel_2 > 0.0)
        return piece;
    for (i = 0; i < 30; i++) {
        double fall = low_end - high_end, share = fall > 0.0 ? low_end / fall : 0.0;
        spent = least(most(low + (high - low) * share, 1e-9), duration);
        piece = spin(spent, speed, acceleration, brake_force, brake_rate, axle, state);
        if (fabs(piece.wheel_2) <= 1e-9 || spent <= 1e-9)
            break;
        if (piece.wheel_2 > 0.0) {
            low = spent;
            low_end = piece.wheel_2;
        } else {
            high = spent;
            high_end = piece.wheel_2;
        }
    }
    state->is_locked = 1;
    piece.wheel_2 = 0.0;
    return piece;
}

static double surplus(double elapsed, double speed, double acceleration, double brake_force,
                      double brake_rate, const AXLE_STATE *state, double *grip)
{
    double at_speed = most(speed + acceleration * elapsed, 0.0), slope;
    *grip = creep_force(at_speed, at_speed, state, &slope);
    return *grip - (brake_force + brake_rate * elapsed);
}

static Piece stay_locked(double duration, double speed, double acceleration, double brake_force,
                         double brake_rate, AXLE_STATE *state)
{
    double spent = duration, grip, first;
    double after = surplus(duration, speed, acceleration, brake_force, brake_rate, state, &grip);
    Piece piece;
    int i;
    if (after > 0.0) {
        double unused, low = 0.0, high = duration;
        double before = surplus(0.0, speed, acceleration, brake_force, brake_rate, state, &unused);
        for (i = 0; i < 30; i++) {
            double middle;
            spent = low + (high - low) * before / (before - after);
            spent = least(most(spent, 1e-9), duration);
            middle = surplus(spent, speed, acceleration, brake_force, brake_rate, state, &grip);
            if (fabs(middle) <= 1e-9 * brake_force || spent <= 1e-9)
                break;
            if (middle > 0.0) {
                high = spent;
                after = middle;
            } else {
                low = spent;
                before = middle;
            }
        }
        state->is_locked = 0;
    }
    surplus(GAMMA * spent, speed, acceleration, brake_force, brake_rate, state, &first);
    piece.spent = spent;
    piece.wheel_1 = piece.wheel_2 = 0.0;
    piece.force_1 = first;
    piece.force_2 = grip;
    return piece;
}

static Piece turn(double duration, double speed, double acceleration, double brake_force,
                  double brake_rate, const AXLE *axle, AXLE_STATE *state)
{
    if (state->is_locked) {
        double grip;
        if (surplus(0.0, speed, acceleration, brake_force, brake_rate, state, &grip) <= 0.0)
            return stay_locked(duration, speed, acceleration, brake_force, brake_rate, state);
        state->is_locked = 0;
    }
    return spin_until_locked(duration, speed, acceleration, brake_force, brake_rate, axle, state);
}

/* ---- air ---- */

static double mass_flow(double upstream, double downstream, double conductance, double critical)
{
    double choked, ratio, beyond;
    if (downstream >= upstream)
        return 0.0;
    choked = conductance * REFERENCE_DENSITY * upstream * sqrt(REFERENCE_TEMPERATURE / TEMPERATURE);
    ratio = downstream / upstream;
    if (ratio <= critical)
        return choked;
    beyond = (ratio - critical) / (1.0 - critical);
    return choked * sqrt(most(0.0, 1.0 - beyond * beyond));
}

static double mass_of(double change, double volume)
{
    return change * volume / (GAS_CONSTANT * TEMPERATURE);
}

static double pressure_rate(double flow, double volume)
{
    return flow * GAS_CONSTANT * TEMPERATURE / volume;
}

static double mean_fill_rate(double duration, double pressure, double supply, double conductance,
                             double critical, double volume)
{
    double rate = 0.0;
    int i;
    for (i = 0; i < 2; i++) {
        double middle = pressure + 0.5 * rate * duration;
        rate = pressure_rate(
            mass_flow(supply + ATMOSPHERE, middle + ATMOSPHERE, conductance, critical), volume);
    }
    return rate;
}

static double mean_vent_rate(double duration, double pressure, double conductance, double critical,
                             double volume)
{
    double rate = 0.0;
    int i;
    for (i = 0; i < 2; i++) {
        double middle = most(pressure + 0.5 * rate * duration, 0.0);
        rate = -pressure_rate(mass_flow(middle + ATMOSPHERE, ATMOSPHERE, conductance, critical),
                              volume);
    }
    return rate;
}

static double rate_towards(int is_rising, double longest, double reservoir, const TRAIN *train,
                           const AXLE *axle, const AXLE_STATE *state)
{
    if (is_rising)
        return most(mean_fill_rate(longest, state->pressure, reservoir, train->fill_conductance,
                                   train->critical_ratio, axle->cylinder_volume), 1.0);
    return least(mean_vent_rate(longest, state->pressure, train->release_conductance,
                                train->critical_ratio, axle->cylinder_volume), -1.0);
}

static double approach(double longest, double target, double target_rate, double reservoir,
                       const TRAIN *train, const AXLE *axle, AXLE_STATE *state, double *until)
{
    double missing = target - state->pressure, rate, closing, limit;
    int is_rising;
    *until = INFINITY;
    if (missing == 0.0 && target_rate == 0.0)
        return 0.0;
    is_rising = missing > 0.0 || (missing == 0.0 && target_rate > 0.0);
    rate = rate_towards(is_rising, longest, reservoir, train, axle, state);
    closing = rate - target_rate;
    if (fabs(missing) > most(fabs(closing) * NO_TIME, 1e-9 * train->full_pressure)) {
        if (missing * closing > 0.0)
            *until = missing / closing;
        return rate;
    }
    state->pressure = target;
    if (target_rate == 0.0)
        return 0.0;
    limit = rate;
    if (is_rising != (target_rate > 0.0))
        limit = rate_towards(target_rate > 0.0, longest, reservoir, train, axle, state);
    return target_rate > 0.0 ? least(target_rate, limit) : most(target_rate, limit);
}

static double pressure_piece(double longest, double demanded, double demanded_rate,
                             double reservoir, const TRAIN *train, const AXLE *axle,
                             AXLE_STATE *state, double *until)
{
    *until = INFINITY;
    if (state->valve == FILL) {
        double target = demanded * state->demand_factor;
        double target_rate = demanded_rate * state->demand_factor;
        if (target > reservoir) {
            target = reservoir;
            target_rate = 0.0;
        }
        return approach(longest, target, target_rate, reservoir, train, axle, state, until);
    }
    if (state->valve == VENT) {
        double rate = -mean_vent_rate(longest, state->pressure, train->vent_conductance,
                                      train->critical_ratio, axle->cylinder_volume);
        rate = most(rate, 1e3);
        if (state->pressure > rate * NO_TIME + 1e-6) {
            *until = state->pressure / rate;
            return -rate;
        }
        state->pressure = 0.0;
    }
    return 0.0;
}

static void count_air(double change, const AXLE *axle, AXLE_STATE *state, VEHICLE_STATE *vehicle)
{
    double mass = mass_of(change, axle->cylinder_volume);
    if (mass > 0.0) {
        state->filled_mass += mass;
        vehicle->flow += mass;
    } else if (state->valve == VENT) {
        state->vented_mass -= mass;
    } else {
        state->released_mass -= mass;
    }
}

static void move_reservoir(double duration, const TRAIN *train, VEHICLE_STATE *vehicle)
{
    double charged = duration * mass_flow(train->pipe_pressure + ATMOSPHERE,
                                          vehicle->reservoir + ATMOSPHERE,
                                          train->charging_conductance, train->critical_ratio);
    double room = mass_of(train->pipe_pressure - vehicle->reservoir, train->reservoir_volume);
    charged = least(charged, most(room, 0.0) + vehicle->flow);
    vehicle->charged_mass += charged;
    vehicle->drawn_mass += vehicle->flow;
    vehicle->reservoir += pressure_rate(charged - vehicle->flow, train->reservoir_volume);
    vehicle->flow = 0.0;
    vehicle->lowest_reservoir = least(vehicle->lowest_reservoir, vehicle->reservoir);
}

static void send_command(double time, int64_t valve, double factor, const TRAIN *train,
                         AXLE_STATE *state)
{
    int64_t last = (state->queue_head + state->queue_count - 1 + QUEUE_LENGTH) % QUEUE_LENGTH, end;
    int64_t last_valve = state->queue_count > 0 ? state->queue_valve[last] : state->valve;
    double last_factor = state->queue_count > 0 ? state->queue_factor[last] : state->demand_factor;
    double due;
    if (valve == last_valve && factor == last_factor)
        return;
    if (valve == VENT && last_valve != VENT)
        state->vent_count++;
    due = time + (valve == FILL ? train->fill_delay : train->vent_delay);
    if (state->queue_count > 0)
        due = most(due, state->queue_time[last]);
    if (state->queue_count == QUEUE_LENGTH)
        state->queue_count--;
    end = (state->queue_head + state->queue_count) % QUEUE_LENGTH;
    state->queue_time[end] = due;
    state->queue_valve[end] = valve;
    state->queue_factor[end] = factor;
    state->queue_count++;
}

static void apply_due_commands(double time, AXLE_STATE *state)
{
    while (state->queue_count > 0 && state->queue_time[state->queue_head] <= time + NO_TIME) {
        state->valve = state->queue_valve[state->queue_head];
        state->demand_factor = state->queue_factor[state->queue_head];
        state->queue_head = (state->queue_head + 1) % QUEUE_LENGTH;
        state->queue_count--;
    }
}

static int64_t limit_vent(int64_t valve, double sample_time, const TRAIN *train, AXLE_STATE *state)
{
    if (valve != VENT) {
        state->vent_time = 0.0;
        state->is_restored = 0;
        return valve;
    }
    state->vent_time += sample_time;
    if (state->vent_time > train->vent_limit) {
        state->n_restored += !state->is_restored;
        state->is_restored = 1;
    }
    return state->is_restored ? FILL : valve;
}

/* ---- rail ---- */

static void enter_cell(int64_t i_cell, const CELL *cells, const double *rail_work,
                       AXLE_STATE *state)
{
    const CELL *cell = cells + i_cell;
    double work = rail_work[i_cell];
    state->i_cell = i_cell;
    state->friction = cell->friction;
    if (work > 0.0 && cell->recovered_friction != cell->friction) {
        double share = work / cell->cleaning_work;
        if (cell->cleaning_exponent != 1.0)
            share = pow(share, cell->cleaning_exponent);
        state->friction = cell->recovered_friction
                          - (cell->recovered_friction - cell->friction) * exp(-share);
    }
    if (state->friction_ratio == cell->friction_ratio
        && state->friction_decay == cell->friction_decay
        && state->adhesion_reduction == cell->adhesion_reduction
        && state->slip_reduction == cell->slip_reduction)
        return;
    state->friction_ratio = cell->friction_ratio;
    state->friction_decay = cell->friction_decay;
    state->adhesion_reduction = cell->adhesion_reduction;
    state->slip_reduction = cell->slip_reduction;
    state->peak_speed = -1.0;
}

static void leave_cell(const TRAIN *train, double *rail_work, AXLE_STATE *state)
{
    rail_work[state->i_cell] += state->cell_energy / train->cell_length;
    state->cell_energy = 0.0;
}

static double cleaning_efficiency(double creepage, const TRAIN *train)
{
    double beyond;
    if (creepage <= train->full_cleaning_slip)
        return 1.0;
    beyond = least(1.0, (creepage - train->full_cleaning_slip) / (1.0 - train->full_cleaning_slip));
    return 1.0 - beyond * (1.0 - train->locked_cleaning_share);
}

/* ---- sensing ---- */

static void watch_pulses(double time, double duration, double before, double after,
                         const AXLE *axle, AXLE_STATE *state)
{
    double start = state->rim_travel, end = start + 0.5 * (before + after) * duration;
    double rate, n_more, travel, root, wait;
    state->rim_travel = end;
    if (end < state->next_pulse)
        return;
    rate = (after - before) / duration;
    n_more = floor((end - state->next_pulse) / axle->pulse_pitch);
    travel = state->next_pulse + n_more * axle->pulse_pitch - start;
    root = sqrt(most(before * before + 2.0 * rate * travel, 0.0));
    wait = 2.0 * travel / most(before + root, 1e-12);
    state->pulse_time = time + least(wait, duration);
    state->n_pulses += (int64_t)n_more + 1;
    state->next_pulse += (n_more + 1.0) * axle->pulse_pitch;
}

static double measure_speed(double time, const TRAIN *train, const AXLE *axle, AXLE_STATE *state)
{
    double waited;
    if (state->n_pulses > 0) {
        double tick = train->clock_tick;
        double latest = state->pulse_time, before = state->sampled_pulse_time;
        if (tick > 0.0) {
            latest = floor(latest / tick) * tick;
            before = floor(before / tick) * tick;
        }
        if (latest > before)
            state->measured_speed = state->n_pulses * axle->assumed_pitch / (latest - before);
        state->sampled_pulse_time = state->pulse_time;
        state->n_pulses = 0;
    }
    waited = time - state->pulse_time;
    if (waited > train->zero_timeout)
        state->measured_speed = 0.0;
    else if (waited > 0.0)
        state->measured_speed = least(state->measured_speed, axle->assumed_pitch / waited);
    return state->measured_speed;
}

/* ---- tallies ---- */

static double count_energy(const Piece *p, double speed, double acceleration, double brake_force,
                           double brake_rate, const TRAIN *train, AXLE_STATE *state)
{
    double speed_1 = speed + acceleration * GAMMA * p->spent;
    double speed_2 = speed + acceleration * p->spent;
    double power_1 = p->force_1 * (speed_1 - p->wheel_1) * (1.0 - GAMMA) * p->spent;
    double power_2 = p->force_2 * (speed_2 - p->wheel_2) * GAMMA * p->spent;
    double cleaning;
    state->brake_energy += p->spent
                           * ((1.0 - GAMMA) * (brake_force + brake_rate * GAMMA * p->spent)
                                  * p->wheel_1
                              + GAMMA * (brake_force + brake_rate * p->spent) * p->wheel_2);
    state->contact_energy += power_1 + power_2;
    cleaning = 0.5 * (cleaning_efficiency(1.0 - p->wheel_1 / most(speed_1, 1e-9), train) * power_1
                      + cleaning_efficiency(1.0 - p->wheel_2 / most(speed_2, 1e-9), train)
                            * power_2);
    state->cell_energy += cleaning;
    state->cleaning_energy += cleaning;
    return power_1 + power_2;
}

static void count_adhesion(const Piece *p, double speed, double acceleration, double demanded,
                           double demanded_rate, const AXLE *axle, AXLE_STATE *state)
{
    const double shares[2] = {1.0 - GAMMA, GAMMA};
    const double moments[2] = {GAMMA * p->spent, p->spent};
    const double forces[2] = {p->force_1, p->force_2};
    int i;
    for (i = 0; i < 2; i++) {
        double at_speed = speed + acceleration * moments[i], force = forces[i];
        double net = most(0.0, demanded + demanded_rate * moments[i]
                                   + axle->rotating_mass * least(acceleration, 0.0));
        double peak = peak_met(at_speed, state), usable = least(peak, net);
        double path = shares[i] * p->spent * at_speed;
        state->demanded_work += net * path;
        state->peak_work += peak * path;
        state->load_work += 2.0 * state->wheel_load * path;
        state->usable_work += usable * path;
        state->used_work += least(force, usable) * path;
        state->excess_work += most(force - usable, 0.0) * path;
    }
}

static void heat_brake(double duration, double heat, double train_speed, const AXLE *axle,
                       AXLE_STATE *state)
{
    double cooling = (axle->cooling + axle->cooling_speed_term * train_speed) * duration;
    double middle = state->temperature + 0.5 * heat / axle->heat_capacity;
    state->temperature += (heat - cooling * middle) / axle->heat_capacity;
    state->hottest = most(state->hottest, state->temperature);
}

static void count_lock(double duration, double time, double wheel_before, double train_speed,
                       const RUN *run, AXLE_STATE *state)
{
    double locked = 0.0, threshold = run->locked_wheel_speed, after = state->wheel_speed;
    if (train_speed > run->locked_train_speed) {
        if (wheel_before < threshold && after < threshold)
            locked = duration;
        else if (wheel_before < threshold || after < threshold) {
            double share = (threshold - wheel_before) / (after - wheel_before);
            locked = duration * (after < threshold ? 1.0 - share : share);
        }
    }
    if (locked > 0.0) {
        if (state->lock_duration == 0.0) {
            state->n_locks++;
            state->lock_start_speed = train_speed;
            state->lock_start_time = time + duration - locked;
        }
        state->locked_time += locked;
        state->lock_duration += locked;
        state->locked_distance += locked * train_speed;
        state->locked_energy += piece_heat * locked / duration;
        if (state->lock_duration > state->longest_lock) {
            state->longest_lock = state->lock_duration;
            state->longest_lock_speed = state->lock_start_speed;
            state->longest_lock_time = state->lock_start_time;
        }
    }
    if (locked < duration && (locked == 0.0 || after >= threshold))
        state->lock_duration = 0.0;
}

static void count_slide(double duration, double time, double train_speed, const RUN *run,
                        double *histogram, AXLE_STATE *state)
{
    double slip_speed = train_speed - state->wheel_speed, edge = 0.05, creepage;
    int is_sliding = slip_speed > run->sliding_slip_speed
                     && slip_speed > run->sliding_creepage * train_speed;
    int band = 0, column = (int)(train_speed * 0.2);
    if (is_sliding) {
        state->sliding_time += duration;
        state->sliding_distance += duration * train_speed;
    }
    creepage = slip_speed / most(train_speed, 1e-9);
    while (band < SLIDE_BANDS - 1 && creepage > edge) {
        band++;
        edge *= 2.0;
    }
    histogram[band * SPEED_BANDS + (column < SPEED_BANDS ? column : SPEED_BANDS - 1)] += duration;
    if (!is_sliding)
        return;
    if (state->first_slide_speed == 0.0) {
        state->first_slide_time = time + duration;
        state->first_slide_speed = train_speed;
        state->initial_adhesion = state->rail_force / (2.0 * state->wheel_load);
    }
    if (state->wheel_speed >= run->locked_wheel_speed) {
        double power = 0.5 * piece_heat / duration;
        double intensity = power / (sqrt(state->wheel_speed) + sqrt(train_speed));
        if (intensity > state->flash_intensity) {
            state->flash_intensity = intensity;
            state->flash_time = time + duration;
            state->flash_train_speed = train_speed;
            state->flash_wheel_speed = state->wheel_speed;
        }
    }
}

static void note_cab(double duration, double shown, double before, const TRAIN *train,
                     TRAIN_STATE *state)
{
    double error = shown - state->speed;
    if (state->position == train->n_steps + 1)
        state->emergency_time += duration;
    if (fabs(error) > fabs(state->speedometer_error)) {
        state->speedometer_error = error;
        state->speedometer_error_time = state->time;
        state->speedometer_error_speed = state->speed;
    }
    if (fabs(error) > SPEEDOMETER_TOLERANCE)
        state->speedometer_wrong_time += duration;
    if (before < train->stopping_point && train->stopping_point <= state->distance)
        state->point_speed = state->speed;
}

/* ---- one axle ---- */

static double time_to_travel(double distance, double speed, double acceleration)
{
    double under = speed * speed + 2.0 * acceleration * distance;
    if (distance <= 0.0)
        return 0.0;
    if (under < 0.0 || speed <= 0.0)
        return INFINITY;
    return 2.0 * distance / (speed + sqrt(under));
}

static double move_axle_piece(double longest, double time, double speed, double acceleration,
                              double demanded, double demanded_rate, World *w, int64_t i_axle,
                              double *impulse, int *is_at_border)
{
    const TRAIN *train = w->train;
    const AXLE *axle = w->axles + i_axle;
    AXLE_STATE *state = w->axle_states + i_axle;
    VEHICLE_STATE *vehicle = w->vehicle_states + axle->i_vehicle;
    double border, rate, until, brake, brake_rate, wheel_before, heat_before, pressure_before;
    double end_speed, hottest_before, gain;
    Piece piece;
    apply_due_commands(time, state);
    border = time_to_travel(state->to_border, speed, acceleration);
    *impulse = 0.0;
    *is_at_border = 1;
    if (border <= NO_TIME)
        return 0.0;
    longest = least(longest, border);
    if (state->queue_count > 0)
        longest = least(longest, state->queue_time[state->queue_head] - time);
    longest = least(longest, longest_piece(axle, state));
    pressure_before = state->pressure;
    rate = pressure_piece(longest, demanded, demanded_rate, vehicle->reservoir, train, axle, state,
                          &until);
    longest = least(longest, until);
    gain = axle->brake_gain * axle->pad_share;
    brake = gain * most(state->pressure, 0.0);
    brake_rate = gain * rate;
    wheel_before = state->wheel_speed;
    heat_before = state->brake_energy;
    piece = turn(longest, speed, acceleration, brake, brake_rate, axle, state);
    state->wheel_speed = piece.wheel_2;
    state->rail_force = piece.force_2;
    state->wheel_acceleration = (state->wheel_speed - wheel_before) / piece.spent;
    piece_heat = count_energy(&piece, speed, acceleration, brake, brake_rate, train, state);
    end_speed = speed + acceleration * piece.spent;
    state->pressure = most(0.0, state->pressure + rate * piece.spent);
    count_air(state->pressure - pressure_before, axle, state, vehicle);
    hottest_before = state->hottest;
    heat_brake(piece.spent, state->brake_energy - heat_before, end_speed, axle, state);
    if (state->hottest > hottest_before) {
        state->hottest_time = time + piece.spent;
        state->hottest_speed = end_speed;
    }
    if (demanded > 0.0)
        count_adhesion(&piece, speed, acceleration, demanded * axle->brake_gain,
                       demanded_rate * axle->brake_gain, axle, state);
    watch_pulses(time, piece.spent, wheel_before, state->wheel_speed, axle, state);
    state->brake_force = brake + brake_rate * piece.spent;
    state->to_border -= piece.spent * (speed + 0.5 * acceleration * piece.spent);
    *impulse = piece.spent * ((1.0 - GAMMA) * piece.force_1 + GAMMA * piece.force_2);
    *is_at_border = border <= piece.spent + NO_TIME;
    return piece.spent;
}

static double move_axle(double start, double end, World *w, int64_t i_axle)
{
    const AXLE *axle = w->axles + i_axle;
    AXLE_STATE *state = w->axle_states + i_axle;
    VEHICLE_STATE *vehicle = w->vehicle_states + axle->i_vehicle;
    TRAIN_STATE *moving = w->train_state;
    double scale = w->train->full_pressure * vehicle->load_factor;
    double demanded_rate = vehicle->demand_rate * scale, elapsed = start, impulse = 0.0;
    while (end - elapsed > NO_TIME) {
        double speed = most(moving->speed + moving->acceleration * elapsed, 0.0), push;
        double wheel_before = state->wheel_speed, now = moving->time + elapsed;
        int is_at_border;
        double spent = move_axle_piece(end - elapsed, now, speed, moving->acceleration,
                                       vehicle->demand * scale + demanded_rate * elapsed,
                                       demanded_rate, w, i_axle, &push, &is_at_border);
        elapsed += spent;
        impulse += push;
        moving->n_axle_steps++;
        if (spent > 0.0) {
            double end_speed = speed + moving->acceleration * spent;
            count_lock(spent, now, wheel_before, end_speed, w->run, state);
            count_slide(spent, now, end_speed, w->run, w->histogram, state);
        }
        if (is_at_border) {
            int64_t ahead = state->i_cell + 1 < w->n_cells ? state->i_cell + 1 : w->n_cells - 1;
            leave_cell(w->train, w->rail_work, state);
            enter_cell(ahead, w->cells, w->rail_work, state);
            state->to_border += w->train->cell_length;
        }
    }
    return impulse;
}

/* ---- the train ---- */

static void transfer_load(double acceleration, const VEHICLE *vehicle, World *w)
{
    int64_t n_bogies = vehicle->n_axles / 2, i;
    double push = -acceleration, body = 0.0;
    if (n_bogies > 1 && vehicle->bogie_spacing > 0.0)
        body = vehicle->body_mass * push * (vehicle->body_height - vehicle->pivot_height)
               / vehicle->bogie_spacing;
    for (i = 0; i < vehicle->n_axles; i++) {
        const AXLE *axle = w->axles + vehicle->first_axle + i;
        AXLE_STATE *state = w->axle_states + vehicle->first_axle + i;
        double change = 0.0, pitch, load;
        if (i / 2 == 0)
            change = body / 2;
        else if (i / 2 == n_bogies - 1)
            change = -body / 2;
        pitch = vehicle->body_mass * push * vehicle->pivot_height / n_bogies;
        pitch = (pitch + vehicle->bogie_mass * push * axle->wheel_radius) / vehicle->wheelbase;
        change += i % 2 == 0 ? pitch : -pitch;
        load = most(axle->wheel_load + 0.5 * change, 0.05 * axle->wheel_load);
        state->wheel_load = load;
        state->contact_stiffness = axle->contact_stiffness * pow(load / axle->wheel_load, 2.0 / 3.0);
    }
}

static void move_handle(World *w)
{
    TRAIN_STATE *state = w->train_state;
    const TRAIN *train = w->train;
    int64_t i;
    while (state->n_handled < w->n_handle
           && state->time >= w->handle[state->n_handled].value - SAME_TIME) {
        w->effective[state->n_handled] = state->time + train->demand_delay;
        state->position = w->handle[state->n_handled].position;
        state->handled_time = state->time;
        if (state->brake_start < 0.0 && state->position > 0)
            state->brake_start = state->distance;
        state->n_handled++;
    }
    for (i = 0; i < w->n_vehicles; i++) {
        VEHICLE_STATE *vehicle = w->vehicle_states + i;
        if (vehicle->demand_rate != 0.0 && state->time >= vehicle->ramp_end - SAME_TIME) {
            vehicle->demand = vehicle->demand_target;
            vehicle->demand_rate = 0.0;
        }
    }
    while (state->n_effective < state->n_handled
           && w->effective[state->n_effective] <= state->time + SAME_TIME) {
        state->acting_position = w->handle[state->n_effective].position;
        state->n_effective++;
    }
    for (i = 0; i < w->n_vehicles; i++) {
        VEHICLE_STATE *vehicle = w->vehicle_states + i;
        double target = w->demand_table[state->acting_position * w->n_vehicles + i], ramp;
        if (target == vehicle->demand_target)
            continue;
        vehicle->demand_target = target;
        ramp = target > vehicle->demand ? train->build_up_time : train->release_time;
        vehicle->demand_rate = (target - vehicle->demand) / ramp;
        vehicle->ramp_end = state->time + ramp;
    }
}

static double time_to_handle_event(World *w)
{
    TRAIN_STATE *state = w->train_state;
    double wait = INFINITY;
    int64_t i;
    for (i = 0; i < w->n_vehicles; i++)
        if (w->vehicle_states[i].demand_rate != 0.0)
            wait = least(wait, w->vehicle_states[i].ramp_end - state->time);
    if (state->n_effective < state->n_handled)
        wait = least(wait, w->effective[state->n_effective] - state->time);
    if (state->n_handled < w->n_handle)
        wait = least(wait, w->handle[state->n_handled].value - state->time);
    return most(wait, SAME_TIME);
}

static void begin_step(World *w)
{
    TRAIN_STATE *state = w->train_state;
    double duration, rate, pitch;
    int64_t i;
    move_handle(w);
    duration = least(w->run->maximum_step, time_to_handle_event(w));
    if (state->acceleration < 0.0)
        duration = least(duration,
                         most((state->speed - 0.5 * AT_REST) / -state->acceleration, 1e-9));
    rate = (state->acceleration - state->pitch_acceleration) / PITCH_TIME;
    pitch = state->pitch_acceleration + 0.5 * duration * rate;
    for (i = 0; i < w->n_vehicles; i++)
        transfer_load(pitch, w->vehicles + i, w);
    state->step_duration = duration;
    state->impulse = 0.0;
}

static void end_step(World *w)
{
    TRAIN_STATE *state = w->train_state;
    const TRAIN *train = w->train;
    double duration = state->step_duration, speed = state->speed, jerk, path;
    double middle = speed + 0.5 * state->acceleration * duration;
    double resistance = train->mass * (train->resistance_constant
                                       + middle * (train->resistance_linear
                                                   + middle * train->resistance_quadratic));
    double change = -(state->impulse + resistance * duration) / train->mass;
    double after = speed + change;
    int64_t i;
    path = 0.5 * (speed + after) * duration;
    for (i = 0; i < w->n_axles; i++)
        w->axle_states[i].to_border -= path - middle * duration;
    state->resistance_work += resistance * path;
    state->distance += path;
    state->time += duration;
    state->speed = after;
    state->acceleration = change / duration;
    state->pitch_acceleration += duration / (PITCH_TIME + 0.5 * duration)
                                 * (state->acceleration - state->pitch_acceleration);
    jerk = (state->acceleration - state->filtered_acceleration) / JERK_TIME;
    state->filtered_acceleration += duration * jerk;
    if (fabs(jerk) > state->largest_jerk) {
        state->largest_jerk = fabs(jerk);
        state->jerk_time = state->time;
        state->jerk_speed = state->speed;
    }
    if (state->speed < 5.0 && fabs(jerk) > state->final_jerk) {
        state->final_jerk = fabs(jerk);
        state->final_jerk_time = state->time;
        state->final_jerk_speed = state->speed;
    }
    note_cab(duration, w->axle_states[0].measured_speed, state->distance - path, train, state);
    state->demand = 0.0;
    for (i = 0; i < w->n_vehicles; i++) {
        VEHICLE_STATE *vehicle = w->vehicle_states + i;
        double lowest_before = vehicle->lowest_reservoir;
        vehicle->demand += vehicle->demand_rate * duration;
        state->demand += vehicle->demand / w->n_vehicles;
        move_reservoir(duration, train, vehicle);
        if (vehicle->lowest_reservoir < lowest_before) {
            vehicle->lowest_reservoir_time = state->time;
            vehicle->lowest_reservoir_speed = state->speed;
        }
    }
    state->n_steps++;
}

static void observe(const GROUP *group, World *w)
{
    TRAIN_STATE *state = w->train_state;
    int64_t i, k;
    for (i = group->first_axle; i < group->first_axle + group->n_axles; i++) {
        VEHICLE_STATE *vehicle = w->vehicle_states + w->axles[i].i_vehicle;
        double *row = w->observation + i * N_OBSERVED;
        row[0] = measure_speed(state->clock, w->train, w->axles + i, w->axle_states + i);
        row[1] = w->train->has_pressure_transducer ? w->axle_states[i].pressure : NAN;
        row[2] = vehicle->demand + vehicle->demand_rate * state->elapsed;
        row[3] = group->sample_time;
        for (k = N_MEASURED; k < N_OBSERVED; k++)
            row[k] = NAN;
    }
}

static void accept(const GROUP *group, World *w)
{
    TRAIN_STATE *state = w->train_state;
    double speed = state->speed + state->acceleration * state->elapsed, highest = 0.0;
    int64_t i;
    for (i = group->first_axle; i < group->first_axle + group->n_axles; i++)
        highest = most(highest, w->observation[i * N_OBSERVED]);
    for (i = group->first_axle; i < group->first_axle + group->n_axles; i++) {
        AXLE_STATE *moving = w->axle_states + i;
        int64_t valve = (int64_t)w->command[2 * i], n_vents = moving->vent_count;
        double factor = w->command[2 * i + 1];
        if (highest < w->train->cut_out_speed) {
            valve = FILL;
            factor = 1.0;
        }
        valve = limit_vent(valve, group->sample_time, w->train, moving);
        send_command(state->clock, valve, factor, w->train, moving);
        if (moving->vent_count > n_vents && speed < LOW_SPEED) {
            moving->low_speed_vents++;
        }
    }
}

static void sample(int64_t i_group, World *w)
{
    const GROUP *group = w->groups + i_group;
    GROUP_STATE *own = w->group_states + i_group;
    int64_t first = group->first_axle;
    observe(group, w);
    slipbench_update(w->observation + first * N_OBSERVED, group->n_axles, N_OBSERVED,
                     w->parameters, w->n_parameters, w->memory + (first + i_group) * w->n_memory,
                     w->n_memory, w->command + 2 * first, w->signals + i_group * w->n_signals,
                     w->n_signals);
    accept(group, w);
    own->n_samples++;
    own->next_sample = group->phase + own->n_samples * group->sample_time;
}

static void move_group(int64_t i_group, World *w)
{
    TRAIN_STATE *state = w->train_state;
    const GROUP *group = w->groups + i_group;
    int is_sampled = 1;
    state->elapsed = 0.0;
    while (is_sampled) {
        double due = w->group_states[i_group].next_sample - state->time;
        double end = least(most(due, state->elapsed), state->step_duration);
        int64_t i;
        if (end > state->elapsed) {
            for (i = group->first_axle; i < group->first_axle + group->n_axles; i++)
                state->impulse += move_axle(state->elapsed, end, w, i);
            state->elapsed = end;
        }
        state->clock = state->time + end;
        is_sampled = due <= state->step_duration;
        if (is_sampled)
            sample(i_group, w);
    }
}

void run_stop(World *w)
{
    TRAIN_STATE *state = w->train_state;
    int64_t i;
    while (state->status == RUNNING) {
        begin_step(w);
        for (i = 0; i < w->n_groups; i++)
            move_group(i, w);
        end_step(w);
        if (!(state->step_duration > 0.0 && isfinite(state->speed))) {
            state->status = BROKEN;
        } else if (state->speed <= AT_REST) {
            if (state->acceleration < 0.0 && state->speed > 0.0) {
                state->distance += 0.5 * state->speed * state->speed / -state->acceleration;
                state->time += state->speed / -state->acceleration;
            }
            state->speed = 0.0;
            state->status = STOPPED;
        } else if (state->distance >= w->run->maximum_distance) {
            state->status = TOO_FAR;
        } else if (state->time >= w->run->maximum_time) {
            state->status = TOO_LONG;
        }
    }
    for (i = 0; i < w->n_axles; i++)
        leave_cell(w->train, w->rail_work, w->axle_states + i);
}
