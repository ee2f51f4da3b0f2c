/* A strategy of the bench as a unit: each step of communication is one sample, of its length. */
#include "unit.h"

/* `update(observation, parameters, memory, command, signals)` as numba compiles it: an array is two
 * null pointers, number of items, bytes an item, data, shape and strides. */
typedef void *Null;
#define ARRAY_1 Null, Null, int64_t, int64_t, double *, int64_t, int64_t
#define ARRAY_2 Null, Null, int64_t, int64_t, double *, int64_t, int64_t, int64_t, int64_t
extern int slipbench_update(void **result, void **problem, ARRAY_2, ARRAY_1, ARRAY_2, ARRAY_2, ARRAY_1);
#define ONE(data, n) NULL, NULL, n, 8, data, n, 8
#define TWO(data, n, m) NULL, NULL, (n) * (m), 8, data, n, m, 8 * (m), 8

typedef struct {
    double observation[MOST_AXLES * N_OBSERVED], parameters[N_PARAMETERS + 1];
    double memory[(MOST_AXLES + 1) * N_MEMORY], command[MOST_AXLES * N_COMMAND];
    double signals[N_SIGNALS];
} Model;
typedef char model_fits[sizeof(Model) <= MODEL_SIZE ? 1 : -1];

static int64_t n_axles_of(const State *state)
{
    double n = state->values[V_N_AXLES];
    return n < 1.0 || !(n <= MOST_AXLES) ? 0 : (int64_t)n;
}

static void give_outputs(State *state, const Model *m, int64_t n_axles)
{
    int64_t i;
    int k;
    for (i = 0; i < MOST_AXLES; i++)
        for (k = 0; k < N_COMMAND; k++)
            state->values[unit_commands[k] + i] =
                i < n_axles ? m->command[i * N_COMMAND + k] : unit_rests[k];
    for (k = 0; k < N_SIGNALS; k++)
        state->values[unit_signals[k]] = m->signals[k];
}

int model_start(Unit *unit)
{
    State *state = unit->state;
    Model *m = (Model *)model_bytes(state);
    int64_t i, n_axles = n_axles_of(state);
    int k;
    if (n_axles == 0)
        return unit_fail(unit, "n_axles is out of its range");
    memset(m, 0, sizeof *m);
    for (i = 0; i < MOST_AXLES * N_OBSERVED; i++)
        m->observation[i] = NAN;
    for (i = 0; i < n_axles; i++)
        for (k = 0; k < N_COMMAND; k++)
            m->command[i * N_COMMAND + k] = unit_rests[k];
    give_outputs(state, m, n_axles);
    return OK;
}

int model_step(Unit *unit, double time, double step)
{
    State *state = unit->state;
    Model *m = (Model *)model_bytes(state);
    int64_t i, n_axles = n_axles_of(state);
    void *result = NULL, *problem = NULL;
    int k, status;
    (void)time;
    for (k = 0; k < N_PARAMETERS; k++)
        m->parameters[k] = state->values[V_PARAMETERS + k];
    for (i = 0; i < n_axles; i++) {
        for (k = 0; k < N_INPUTS; k++)
            m->observation[i * N_OBSERVED + unit_columns[k]] =
                state->values[unit_inputs[k] + (unit_by_axle[k] ? i : 0)];
        m->observation[i * N_OBSERVED + SAMPLE_TIME_COLUMN] = step;
    }
    status = slipbench_update(
        &result, &problem, TWO(m->observation, n_axles, N_OBSERVED),
        ONE(m->parameters, N_PARAMETERS), TWO(m->memory, n_axles + 1, N_MEMORY),
        TWO(m->command, n_axles, N_COMMAND), ONE(m->signals, N_SIGNALS));
    if (status != 0 && status != -2)
        return unit_fail(unit, "the strategy failed");
    give_outputs(state, m, n_axles);
    return OK;
}
