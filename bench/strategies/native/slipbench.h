/* slipbench.h: the door for slip control written in C, ABI version 1.
 *
 * A shared library that includes this header and defines the three exported names below is a
 * strategy; the bench takes its path wherever it takes a strategy's name:
 *
 *     cc -std=c99 -O2 -ffp-contract=off -shared -fPIC -I FOLDER my_control.c -o my_control.so
 *     slipbench compare wet_leaf --strategy ./my_control.so,slip_band
 *
 * `slipbench native` prints FOLDER, the folder of this header. Native code runs with the rights of
 * whoever starts it. Nothing is loaded but what the library itself asks for.
 *
 * Arrays are row-major (C order) float64; a row an axle, front first:
 *
 *     observation[i_axle * n_observed + column]     read only; columns below
 *     parameters[i]                                 read only; as described, SI units
 *     memory[row * n_memory + column]               n_axles + 1 rows, the last for the vehicle;
 *                                                   zero at the start of a stop; the only place
 *                                                   where anything may be kept between calls: one
 *                                                   library serves every vehicle, stop after stop
 *     command[i_axle * n + column]                  to be written on every call; columns below
 *                                                   n is 2, or 3 for a library that commands the
 *                                                   dynamic brake (slipbench_commands_dynamic)
 *     signals[i]                                    to be written; below
 *
 * The bench hands over copies with 64 doubles of guard in front of and behind each array. After
 * each call it checks the guards, observation and parameters; a changed one ends the stop with one
 * line. So does a valve that is not 0, 1 or 2, and a demand factor that is not finite or outside
 * what the equipment allows, or a dynamic factor outside 0 to 1. A write further off, or a crash, ends the process.
 */
#ifndef SLIPBENCH_H
#define SLIPBENCH_H

#include <stdint.h>

#define SLIPBENCH_ABI 1

#if defined(_WIN32)
#define SLIPBENCH_EXPORT __declspec(dllexport)
#elif defined(__GNUC__)
#define SLIPBENCH_EXPORT __attribute__((visibility("default")))
#else
#define SLIPBENCH_EXPORT
#endif

/* Columns of the observation. The rest is the true state, NaN for a library. */
enum {
    SLIPBENCH_MEASURED_WHEEL_SPEED = 0, /* rim speed as its sensor gives it [m/s] */
    SLIPBENCH_MEASURED_PRESSURE = 1,    /* brake cylinder, gauge [Pa] */
    SLIPBENCH_BRAKE_DEMAND = 2,         /* demand acting now over the emergency demand [-] */
    SLIPBENCH_SAMPLE_TIME = 3,          /* time between two calls [s] */
    SLIPBENCH_DYNAMIC_FORCE = 4,        /* what the axle's drive gives at the rim; 0 without [N] */
    SLIPBENCH_DYNAMIC_DEMAND = 5        /* what it would give, had no slip control taken off [N] */
};

/* Columns of the command, and the valve's positions. */
enum { SLIPBENCH_VALVE = 0, SLIPBENCH_DEMAND_FACTOR = 1, SLIPBENCH_N_COMMAND = 2 };
/* With slipbench_commands_dynamic: a third column, the factor from 0 to 1 on what is asked of the
 * axle's dynamic brake; one drive for several axles takes the least. The drives' own slip control
 * is then off. */
enum { SLIPBENCH_DYNAMIC_FACTOR = 2, SLIPBENCH_N_COMMAND_DYNAMIC = 3 };
enum { SLIPBENCH_FILL = 0, SLIPBENCH_HOLD = 1, SLIPBENCH_VENT = 2 };

/* Signals: a slide is in progress (sanders trigger on it); slip control is isolated. */
enum { SLIPBENCH_SLIDE = 0, SLIPBENCH_ISOLATED = 1 };

typedef struct {
    const char *name;
    double default_value;
    const char *unit; /* SI; "-" for none */
    double low, high; /* what is allowed, and the box for tuning */
    const char *source; /* where the default comes from: published, memory, assumed ... */
} slipbench_parameter;

typedef struct {
    const char *name;     /* letters, digits and _ */
    const char *title;    /* one line: the principle */
    const char *observes; /* columns the command may depend on, as
                             "measured_wheel_speed,measured_pressure,brake_demand,sample_time,
                             dynamic_force,dynamic_demand" */
    int64_t n_memory;     /* columns of the memory, at least 1 */
    int64_t n_parameters;
    const slipbench_parameter *parameters; /* n_parameters of them; may be NULL for none */
    int64_t is_train_wide; /* 0: a call sees one vehicle's axles; 1: all axles of the train */
} slipbench_description;

#ifdef __cplusplus
extern "C" {
#endif

/* Define as: SLIPBENCH_EXPORT const int64_t slipbench_abi = SLIPBENCH_ABI; */
extern SLIPBENCH_EXPORT const int64_t slipbench_abi;

/* Optional, for a library that commands the dynamic brake:
 *     extern SLIPBENCH_EXPORT const int64_t slipbench_commands_dynamic;
 *     SLIPBENCH_EXPORT const int64_t slipbench_commands_dynamic = 1;
 * Libraries without it, and those made for earlier headers of this ABI version, run unchanged. */

/* Return what the library is; the strings live as long as the library. */
SLIPBENCH_EXPORT const slipbench_description *slipbench_describe(void);

/* One sample of one vehicle (or of the train). Keeps nothing but `memory`. */
SLIPBENCH_EXPORT void slipbench_update(
    const double *observation, int64_t n_axles, int64_t n_observed,
    const double *parameters, int64_t n_parameters,
    double *memory, int64_t n_memory,
    double *command,
    double *signals, int64_t n_signals);

#ifdef __cplusplus
}
#endif

#endif
