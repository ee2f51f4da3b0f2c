/* A unit written by slipbench: what its interface (fmi2.c, fmi3.c) and its model share.
 *
 * All an instance has stands in one block, so that a state is a copy of it: this header, the values
 * of all variables as doubles, then the model's own bytes. model.h is generated: sizes, offsets,
 * the token and the table of variables.
 */
#ifndef SLIPBENCH_UNIT_H
#define SLIPBENCH_UNIT_H

#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "model.h"

#if defined(_WIN32)
#define EXPORT __declspec(dllexport)
#else
#define EXPORT __attribute__((visibility("default")))
#endif

enum { REAL, INTEGER, BOOLEAN };
enum { INPUT, OUTPUT, FIXED, TUNABLE, CONSTANT };
enum { OK, WARNING, DISCARD, ERROR, FATAL };
enum { INSTANTIATED, INITIALISING, STEPPING, TERMINATED, FAILED };

typedef struct {
    int kind, causality;
    size_t first, count; /* of its values */
} Variable;

extern const Variable unit_variables[N_VARIABLES]; /* by value reference */
extern const double unit_starts[N_VALUES];

typedef struct {
    int64_t mode, is_stale; /* parameters or inputs were set and the model has not started anew */
    int64_t scratch[8];     /* of the model */
    double time, now;       /* as the last step ended; as the model's does */
    double values[N_VALUES];
} State;

typedef struct {
    State *state;           /* aligned */
    void *block;            /* as allocated */
    void *environment;
    void *(*allocate)(size_t, size_t);
    void (*let_go)(void *);
    void (*log)(void *environment, int status, const char *message);
    void *logger;
    const char *name;
} Unit;

#define HEADER_SIZE ((sizeof(State) + 63) / 64 * 64)
#define STATE_SIZE (HEADER_SIZE + MODEL_SIZE)

/* the model */
int model_start(Unit *unit);                        /* from the parameters; fills the outputs */
int model_step(Unit *unit, double time, double step);
char *model_bytes(State *state);

/* unit.c */
int unit_make(Unit *unit);
void unit_free(Unit *unit);
void unit_reset(Unit *unit);
int unit_fail(Unit *unit, const char *message);
int unit_settle(Unit *unit);
int unit_enter(Unit *unit, double start);
int unit_leave_initialisation(Unit *unit);
int unit_step(Unit *unit, double time, double step);
const Variable *unit_variable(Unit *unit, unsigned reference, int kind, int is_set);
void *unit_copy_state(Unit *unit, void *into);
int unit_take_state(Unit *unit, const void *from, size_t size);

#endif
