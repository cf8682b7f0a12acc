package device

import (
	"encoding/json"

	"tunerd/internal/fault"
)

// List lists the sound devices, inputs and outputs. A computer without any has an empty list; an
// error means that the list is not known, as in a build without microphone support.
func List() ([]Device, error) {
	devices, err := list()
	if err != nil {
		return nil, fault.Errorf(fault.Device, "list of devices: %w", err)
	}
	return devices, nil
}

func list() ([]Device, error) {
	p, err := begin(request{Job: jobList})
	if err != nil {
		return nil, err
	}
	defer p.end(endLimit)
	var devices []Device
	err = p.within(answerLimit, func() error {
		body, err := p.answer(kindList)
		if err != nil {
			return err
		}
		return json.Unmarshal(body, &devices)
	})
	return devices, err
}

// HasMicrophone reports whether there is an input device to listen to. It opens none.
func HasMicrophone() bool {
	devices, err := List()
	if err != nil {
		return false
	}
	_, err = input.choose(devices, "")
	return err == nil
}
